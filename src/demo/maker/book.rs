//! The files of a made bundle, each with the columns it fills.

use std::io::{self, Write};

use crate::demo::maker::sheet::BundleFile;

/// Gives the place to write the file of a kind to.
pub type Open<'a> = &'a mut dyn FnMut(&str) -> io::Result<Box<dyn Write>>;

macro_rules! book {
    ($($name:ident: $header:literal,)+) => {
        /// Every file that the maker writes, named after its kind.
        pub struct Book { $(pub $name: BundleFile,)+ }

        impl Book {
            pub fn open(open: Open) -> io::Result<Self> {
                Ok(Self { $($name: BundleFile::new(open(stringify!($name))?, $header),)+ })
            }

            pub fn close(self) -> io::Result<()> {
                $(self.$name.close()?;)+
                Ok(())
            }
        }
    };
}

book! {
    alloys: "alloy,revision,liquidus_c,solidus_c,density_g_cm3,revert_max_pct,approved_by",
    alloy_limits: "alloy,revision,element,min,max,unit",
    parts: "part,revision,alloy,mass_g,inspection_class,approved_by",
    zones: "part,revision,zone,name",
    inspection_plans: "part,revision,method,required,sampling",
    defect_terms: "defect,name",
    shell_recipes: "recipe,revision,route,coats,min_dry_h,preheat_c,oven_to_pour_max_s,approved_by",
    running_systems: "running_system,revision,fill,positions,head_mm,gate_area_mm2,filter,approved_by",
    instruments: "instrument,kind",
    calibrations: "instrument,checked_at,check,result,difference,unit,due_at,person",
    people: "person,role",
    qualifications: "person,method,level,expires_on",
    settings: "setting,value",
    ingot_lots: "ingot_lot,alloy,maker_heat,received_at,mass_kg,certificate,certificate_type",
    revert_lots: "revert_lot,alloy,made_at,form,condition",
    heats: "heat,alloy,furnace,crucible,crucible_life,melted_at,melt_in_at,power_kw,vacuum_mbar,leak_mbar_l_s,hold_min,person",
    revert_sources: "revert_lot,heat,mass_kg",
    charges: "heat,source,item,mass_kg",
    analyses: "analysis,subject,purpose,taken_at,method,instrument",
    analysis_values: "analysis,element,value,unit,uncertainty",
    wax_lots: "wax_lot,grade,received_at,expires_on,ash_pct,congealing_c,filler_pct,split_from",
    pattern_runs: "pattern_run,wax_lot,part,die,injected_at,wax_c,pressure_bar,dwell_s,made_count,rejected_count,person",
    core_lots: "core_lot,material,fired_at",
    filter_lots: "filter_lot,material,ppi,received_at,received_count,rejected_count",
    slurry_batches: "slurry_batch,use,binder,flour,made_at",
    slurry_checks: "slurry_batch,occurred_at,person,instrument,temp_c,viscosity_s,cup,density_g_cm3,ph,sio2_pct,plate_g,gel",
    stucco_lots: "stucco_lot,material,mesh,received_at",
    shell_batches: "shell_batch,recipe,started_at,room",
    moulds: "mould,part,running_system,shell_batch,filter_lot,assembled_at,person,seal",
    coats: "mould,coat,slurry_batch,stucco_lot,in_at,out_at,room_c,rh_pct,person",
    oven_runs: "oven_run,purpose,oven,started_at,instrument,setpoint_c,soak_min,peak_bar,rise_s",
    oven_loads: "oven_run,mould,place,out_at,crack",
    pour_plans: "mould,planned_on,furnace,pour_order,target_c",
    pours: "mould,heat,pour_order,poured_at,indicated_c,pyrometer,mould_c,transfer_s,pour_s,mass_kg,seal_state,run_out,person",
    test_bars: "test_bar,heat,instrument,uts_mpa,yield_mpa,elongation_pct,rupture_h,hardness_hrc",
    blades: "blade,mould,position,pattern_run,cavity,core_lot,marked_at,position_confirmed",
    treatments: "treatment,kind,schedule,furnace,instrument,started_at,temp_c,hold_h,pressure_mpa",
    treatment_loads: "treatment,blade",
    inspections: "inspection,blade,method,round,inspected_at,person,instrument,result",
    findings: "inspection,defect,item,zone,size_mm,severity",
    measurements: "inspection,characteristic,value,unit,lower,upper",
    dispositions: "blade,decided_at,decision,person,reason",
    lots: "lot,part,purchaser,purchase_order,ordered_count,certificate_type,opened_at",
    lot_blades: "lot,blade",
    shipments: "blade,shipped_at,destination,certificate,returned_at,return_reason",
    holds: "hold,subject,placed_at,person,reason,lifted_at,lifted_by,lifted_reason",
}
