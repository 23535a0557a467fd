//! Where a set and the trade's charts part ways along the tooth.

use crate::frames::Side;
use crate::lesson::case::Case;
use crate::schema::Cutting;

/// A patch that goes less far than this along the tooth hardly goes at all, share of the length.
const HARDLY: f64 = 0.015;

/// Which way along the tooth a common shop chart sends drive and coast patch: + to the heel. Common practice, no
/// source; TM 9-2320-266-34 para 19-5 has the face-milled row of the pinion too, TM 5-3805-260-24 p. 3-244 the opposite.
fn chart(cutting: Cutting, pinion: bool, away: bool) -> [f64; 2] {
    let out = match (cutting, pinion) {
        (Cutting::FaceMilled, true) => [1.0, -1.0],
        (Cutting::FaceHobbed, true) => [-1.0, 1.0],
        (Cutting::FaceMilled, false) => [1.0, 1.0],
        (Cutting::FaceHobbed, false) => [1.0, -1.0],
    };
    out.map(|way| if away { way } else { -way })
}

/// What is different on this set from such a chart, and why; `None` where both agree. `right` is the set in its place.
pub(super) fn apart(cutting: Cutting, case: &Case, right: &Case) -> Option<String> {
    let m = case.misalignment;
    let pinion = m.pinion_mm != 0.0;
    let amount = if pinion { m.pinion_mm } else { m.ring_mm };
    if amount == 0.0 {
        return None;
    }
    let end = |way: f64| if way < 0.0 { "toe" } else { "heel" };
    let ways = chart(cutting, pinion, amount > 0.0);
    let mut apart = Vec::new();
    for (side, way) in Side::BOTH.into_iter().zip(ways) {
        let centre = |c: &Case| c.state.side(side).patch.map(|p| p.centre.length);
        let Some(shift) = centre(case)
            .zip(centre(right))
            .map(|(now, then)| now - then)
        else {
            continue;
        };
        let own = if shift.abs() < HARDLY {
            "it hardly moves along the tooth".to_owned()
        } else if shift * way < 0.0 {
            format!(
                "it goes {:.0}\u{a0}% to the {}",
                100.0 * shift.abs(),
                end(shift)
            )
        } else {
            continue;
        };
        apart.push(format!(
            "the {} patch to the {}; on this set {own}",
            side.word(),
            end(way)
        ));
    }
    (!apart.is_empty()).then(|| {
        format!(
            "Many shop charts send {}. Charts differ among themselves: the way along the tooth hangs on spiral angle, cutter radius and \
             offset. Go by the heights and the dial.",
            apart.join(", and ")
        )
    })
}
