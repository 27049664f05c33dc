//! Profile and product to a station, a tick, a new product.

pub(crate) fn run(
    profile: &timing_core::MachineProfile,
    products: &[timing_core::Product; 2],
    inputs: &[timing_core::Inputs],
    digest: &mut timing_core::Digest,
) -> u32 {
    use timing_core::{Machine, Setpoints, Station};
    let Ok(machine) = Machine::new(profile) else {
        return 1;
    };
    let [first, second] = products;
    let Ok(setpoints) = Setpoints::new(first, &machine) else {
        return 2;
    };
    let mut station = Station::new(machine, setpoints);
    for i in inputs {
        digest.tick(i.now, &station.tick(i));
    }
    let Ok(setpoints) = Setpoints::new(second, &machine) else {
        return 3;
    };
    u32::from(station.load(setpoints).is_err())
}
