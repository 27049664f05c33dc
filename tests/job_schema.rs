//! The JSON Schema of the job file, against an independent validator (the `jsonschema` crate), over the shipped jobs.

use crate::jobs::files;
use host_sim::job::schema::schema;
use jsonschema::Validator;
use serde_json::Value;

fn validator() -> Validator {
    jsonschema::draft202012::meta::validate(&schema()).expect("a valid schema");
    jsonschema::draft202012::new(&schema()).expect("a schema that can be used")
}

fn read(file: &std::path::Path) -> Value {
    let text = std::fs::read_to_string(file).expect("the job is there");
    toml::from_str(&text).expect("TOML")
}

#[test]
fn the_schema_takes_every_shipped_job() {
    let v = validator();
    let jobs = files();
    assert!(jobs.len() >= 16);
    for file in jobs {
        let job = read(&file);
        let wrong: Vec<String> = v.iter_errors(&job).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(wrong.is_empty(), "{}: {wrong:?}", file.display());
        // The tables that it names as files are in the schema too.
        let whole = |key: &str| read(&file.with_file_name(job[key].as_str().expect("a path")));
        let mut job = job.clone();
        job["machine"] = whole("machine");
        job["product"] = whole("product");
        let wrong: Vec<String> = v.iter_errors(&job).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(wrong.is_empty(), "{}: {wrong:?}", file.display());
    }
}

#[test]
fn the_schema_refuses_what_the_reader_refuses() {
    let v = validator();
    let good = read(&files().into_iter().find(|f| f.ends_with("steady-day.toml")).expect("the job"));
    assert!(v.is_valid(&good));
    type Break = fn(&mut Value);
    let broken: [(&str, Break); 6] = [
        ("an unknown key", |j| j["run"]["botles"] = 3.into()),
        ("a bare number where a unit is due", |j| j["run"]["duration"] = 3.into()),
        ("a missing table", |j| drop(j.as_object_mut().expect("a table").remove("run"))),
        ("a number out of its range", |j| j["run"]["bottles"] = (-1).into()),
        ("an unknown word", |j| j["expect"]["state"] = "Asleep".into()),
        ("a flag that is a text", |j| j["run"]["stroke_spread"] = "yes".into()),
    ];
    for (what, mend) in broken {
        let mut job = good.clone();
        mend(&mut job);
        assert!(!v.is_valid(&job), "{what} was taken");
    }
}
