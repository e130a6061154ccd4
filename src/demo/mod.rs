//! Invented foundry histories: the demo and the maker of large ones.

pub mod maker;

macro_rules! files {
    ($($name:ident)*) => {
        &[$((
            concat!(stringify!($name), ".csv"),
            include_str!(concat!("../../sample_data/", stringify!($name), ".csv")),
        )),*]
    };
}

/// The files of the demo foundry, as they stand in `sample_data/`. All of it is invented.
pub const SAMPLE: &[(&str, &str)] = files! {
    alloy_limits alloys analyses analysis_values blades calibrations charges coats concession_items
    concessions costs defect_terms dispositions filter_lots findings heats holds ingot_lots
    inspection_plans inspections instruments lot_blades lots measurements moulds oven_loads
    oven_runs own_fields parts pattern_runs people pour_plans pours process_limits qualifications
    retags revert_lots revert_sources running_systems samples settings shell_batches shell_recipes
    shipments signatures slurry_batches slurry_checks stucco_lots test_bars trial_moulds trials
    wax_lots zones
};
