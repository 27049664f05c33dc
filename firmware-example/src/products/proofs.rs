//! What does not compile, shown by examples of which some must and some must not (`cargo test --doc`).
//!
//! They differ in one number each, so that those that must not compile do so for no other reason. The error is E0080, a constant that panics; stable
//! tools do not look at the number.

macro_rules! shown {
    ($(#[$about:meta])* $name:ident, $how:literal, $area:literal) => {
        $(#[$about])*
        ///
        #[doc = concat!(
            "```", $how, "\n",
            include_str!("blank_flash.txt"),
            "# let machine = Machine::new(&example::machine()).unwrap();\n",
            "let products = ", $area, "::open(Flash, &machine);\n",
            "assert!(products.is_ok_and(|p| p.list().next().is_none()));\n",
            "```"
        )]
        struct $name;
    };
}

shown!(/** Words of 4 bytes, and room enough. */ Words4, "", "Products::<Flash<4>, 0, 8>");
shown!(/** Words of 32 bytes. */ Words32, "", "Products::<Flash<32>, 0, 8>");
shown!(/** Single bytes. */ Words1, "compile_fail,E0080", "Products::<Flash<1>, 0, 8>");
shown!(/** Words of 2 bytes. */ Words2, "compile_fail,E0080", "Products::<Flash<2>, 0, 8>");
shown!(/** Words of 64 bytes. */ Words64, "compile_fail,E0080", "Products::<Flash<64>, 0, 8>");
shown!(/** Too few pages for all products. */ Pages3, "compile_fail,E0080", "Products::<Flash<4>, 0, 3>");
