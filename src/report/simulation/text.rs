//! A simulation as text: patches, backlash, the table of sensitivities, the sweep.

use crate::schema::Patch;
use crate::schema::simulation::{Contact, FlankRates, Rates, Simulation};
use crate::units::Units;
use comfy_table::{Table, presets};
use std::fmt::Write;

/// The simulation in plain lines, ending with a newline.
pub(crate) fn simulation_text(simulation: &Simulation, units: Units) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write_all(&mut out, simulation, units);
    out
}

fn write_all(out: &mut String, simulation: &Simulation, units: Units) -> std::fmt::Result {
    if !simulation.card.is_empty() {
        writeln!(out, "{}", simulation.card)?;
    }
    if let Some(why) = &simulation.no_contact {
        writeln!(out, "no contact: {why}")?;
    }
    if let Some(contact) = &simulation.contact {
        write_contact(out, contact, units)?;
    }
    if !simulation.derived.is_empty() {
        writeln!(out, "\nderived, for the card is silent:")?;
        for d in &simulation.derived {
            writeln!(out, "  {} = {:.3} ({})", d.key, d.value, d.how)?;
        }
    }
    Ok(())
}

fn write_contact(out: &mut String, contact: &Contact, units: Units) -> std::fmt::Result {
    let m = &contact.misalignment;
    writeln!(
        out,
        "pinion {} out, ring gear {} out, offset {} more, shaft angle {:+.3}° more; film {}",
        units.shim(m.pinion_mm),
        units.shim(m.ring_mm),
        units.shim(m.offset_mm),
        m.shaft_angle_deg,
        units.shim(contact.film_mm),
    )?;
    for (word, flank) in [("drive", &contact.drive), ("coast", &contact.coast)] {
        writeln!(
            out,
            "{word}: {}; transmission error {:.0} µrad",
            patch_words(flank.patch.as_ref()),
            flank.transmission_error.peak_to_peak_urad
        )?;
    }
    let b = &contact.backlash;
    writeln!(
        out,
        "backlash: {} more at the outer diameter, {} more square to the tooth; \
         the ring gear gives {:.2} of its move, the pinion {:.2} (square to the tooth)",
        units.shim(b.change_mm),
        units.shim(b.change_square_mm),
        b.ring_ratio_square,
        b.pinion_ratio_square,
    )?;
    if let Some(r) = &contact.run_out {
        writeln!(
            out,
            "run-out of {}: backlash swings by {} at the outer diameter",
            units.shim(r.run_out_mm),
            units.shim(r.backlash_swing_mm),
        )?;
    }
    let step_mm = units.shim_step_mm();
    writeln!(
        out,
        "\nchange for each {} more (ease-off: a tenth of that; film: a hundredth; shaft angle: 0.1°), \
         % of the flank, + to heel and tip",
        units.shim(step_mm)
    )?;
    writeln!(out, "{}", table(&contact.sensitivities, step_mm, units))?;
    if let Some(sweep) = &contact.sweep {
        writeln!(out, "\nsweep of {}", sweep.cause)?;
        for step in &sweep.steps {
            let value = match sweep.unit {
                "mm" => units.shim(step.value),
                _ => format!("{:.3}°", step.value),
            };
            writeln!(
                out,
                "  {value}: drive {}; coast {}",
                patch_words(step.drive.as_ref()),
                patch_words(step.coast.as_ref())
            )?;
        }
    }
    Ok(())
}

fn patch_words(patch: Option<&Patch>) -> String {
    patch.map_or_else(
        || "no patch on the flank".to_owned(),
        |p| {
            format!(
                "centre {:.1}% from the toe, {:.1}% up, covers {:.0}% × {:.0}%, slant {:.1}°",
                100.0 * p.centre.length,
                100.0 * p.centre.height,
                100.0 * p.extent.length,
                100.0 * p.extent.height,
                p.lean_deg
            )
        },
    )
}

fn table(rows: &[Rates], step_mm: f64, units: Units) -> Table {
    let mut table = Table::new();
    table.load_style(presets::UTF8_BORDERS_ONLY);
    table.set_header([
        "more of",
        "drive length",
        "drive height",
        "coast length",
        "coast height",
        "drive size",
        "coast size",
        "drive slant",
        "coast slant",
        "backlash",
    ]);
    for row in rows {
        let step = match (row.per, row.cause) {
            ("deg", _) => 0.1,
            (_, "pinion" | "ring" | "offset") => step_mm,
            (_, "film") => 0.01 * step_mm,
            _ => 0.1 * step_mm,
        };
        let cell = |rates: &Option<FlankRates>, value: fn(&FlankRates) -> f64| {
            rates
                .as_ref()
                .map_or_else(|| "–".to_owned(), |r| format!("{:+.1}", value(r) * step))
        };
        let size = |rates: &Option<FlankRates>| {
            rates.as_ref().map_or_else(
                || "–".to_owned(),
                |r| {
                    format!(
                        "{:+.1} × {:+.1}",
                        100.0 * r.extent.length * step,
                        100.0 * r.extent.height * step
                    )
                },
            )
        };
        table.add_row([
            row.cause.replace('_', " "),
            cell(&row.drive, |r| 100.0 * r.centre.length),
            cell(&row.drive, |r| 100.0 * r.centre.height),
            cell(&row.coast, |r| 100.0 * r.centre.length),
            cell(&row.coast, |r| 100.0 * r.centre.height),
            size(&row.drive),
            size(&row.coast),
            cell(&row.drive, |r| r.lean_deg) + "°",
            cell(&row.coast, |r| r.lean_deg) + "°",
            units.shim(row.backlash_mm * step),
        ]);
    }
    table
}
