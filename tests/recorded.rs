//! What a core was set up with and given, as other cores or boards are to be given it.

use host_sim::job::Job;
use host_sim::record::inputs::InputsReader;
use host_sim::rehearse::{Options, rehearse};
use timing_core::{Inputs, Machine, MachineProfile, Product, Setpoints, Station};

/// Set-up and inputs of one run.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// The machine.
    pub machine: MachineProfile,
    /// The product.
    pub product: Product,
    /// What each tick was given.
    pub inputs: Vec<Inputs>,
}

impl Recorded {
    /// From a file of recorded inputs.
    ///
    /// # Panics
    /// When the file is not whole.
    #[must_use]
    pub fn read(file: &[u8]) -> Self {
        let reader = InputsReader::new(file).expect("it is whole");
        let (machine, product) = (*reader.setup().0, *reader.setup().1);
        let inputs = reader.collect::<Result<_, _>>().expect("it is whole");
        Self { machine, product, inputs }
    }

    /// From the rehearsal of a job, and the digest of that.
    ///
    /// # Panics
    /// When the job cannot be planned.
    #[must_use]
    pub fn rehearsed(job: &Job) -> (Self, u64) {
        let options = Options { inputs: true, rules: false, ..Options::default() };
        let r = rehearse(job, &options).expect("it can be planned");
        (Self::read(&r.inputs), r.digest)
    }

    /// A station at power-up, set up like the one that was recorded.
    ///
    /// # Panics
    /// When the core refuses machine or product.
    #[must_use]
    pub fn station(&self) -> Station {
        let machine = Machine::new(&self.machine).expect("the machine is valid");
        Station::new(machine, Setpoints::new(&self.product, &machine).expect("the product is valid"))
    }
}
