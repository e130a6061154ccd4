//! A history with sixty factors, for the times of the ranking.

use knowledge::causes::At;
use knowledge::causes::Column;
use knowledge::causes::Records;
use knowledge::causes::Values;
use knowledge::causes::random::Chance;

use crate::foundry::Plant;
use crate::foundry::Recipe;
use crate::foundry::make;

/// A history of so many moulds of eight blades and sixty factors.
pub fn records(moulds: usize, plants: &[Plant]) -> Records {
    let mut recipe = Recipe::drawn(5, moulds, plants);
    recipe.rate = 0.04;
    recipe.inside_mould = 0.2;
    recipe.strength = 7.0;
    if moulds == 125_000 {
        // ten thousand heats in a decade
        recipe.heat_moulds = Some(12.5);
    }
    let (mut records, _) = make(&recipe);
    let mut chance = Chance::of_draw(11, 0);
    let mut lot = 0;
    while records.columns.len() < 60 {
        // lots of all sizes, down to one for every fifth mould
        let size = [5.0, 20.0, 80.0, 40.0][lot % 4];
        let codes: Vec<u32> =
            (0..moulds).map(|m| ((m as f64 + size * chance.normal()).max(0.0) / size) as u32).collect();
        let levels = (0..=codes.iter().max().copied().unwrap_or(0)).map(|l| l.to_string()).collect();
        let name = format!("lot {lot}");
        records.columns.push(Column::new(&name, At::Mould, Values::Words { codes, levels }));
        lot += 1;
    }
    records.columns.truncate(60);
    records
}
