use super::*;

fn state(set: &Set, pinion_mm: f64) -> Case {
    let misalignment = Misalignment {
        pinion_mm,
        ..Misalignment::default()
    };
    Case::new(set, misalignment, 0.0)
}

/// What the page says of its sets, by the contact model.
#[test]
fn the_words_about_the_sets_are_true() {
    let sets = examples().unwrap();
    let travel = |set: &Set| {
        let [a, b] = [-0.15, 0.15].map(|mm| state(set, mm).state.drive.patch.unwrap().centre);
        [b.length - a.length, b.height - a.height]
    };
    let [milled, hobbed, crowned] = [0, 1, 3].map(|k| travel(&sets[k].set));
    assert!(milled[0] > 0.10 && milled[1] > 0.10, "{milled:?}");
    assert!(
        hobbed[0] < 0.7 * milled[0] && hobbed[1] > 0.10,
        "{hobbed:?}"
    );
    assert!(
        crowned[0] < milled[0] && crowned[1] < milled[1],
        "{crowned:?} {milled:?}"
    );
    let area = |k: usize| state(&sets[k].set, 0.0).state.drive.patch.unwrap().area;
    assert!(area(3) < 0.8 * area(0));
}

#[test]
fn the_page_needs_nothing_but_itself() {
    let sets = vec![of_card(Set::example(Cutting::FaceMilled).unwrap())];
    let page = page(&sets, Units::In).unwrap();
    for outside in [
        "http:", "https:", "src=", "@import", "url(", "fetch(", "@CSS@", "@DATA@",
    ] {
        assert!(!page.contains(outside), "{outside}");
    }
    assert!(page.contains("Larchfield 8-inch rear axle"));
}

#[test]
fn a_name_cannot_end_the_script_it_stands_in() {
    let mut set = Set::example(Cutting::FaceMilled).unwrap();
    set.card.name = "</script><b>".into();
    let page = page(&[of_card(set)], Units::Mm).unwrap();
    assert!(!page.contains("</script><b>"));
}

/// Checks are spread over the sliders and hold patches that are there, gone, right and wrong.
#[test]
fn the_page_is_compared_in_all_corners() {
    let sets = examples().unwrap();
    let all = checks(&sets[0]);
    for k in 0..4 {
        let in_quarter =
            |c: &&Check| (c.pinion_mm > 0.0) == (k & 1 == 1) && (c.ring_mm > 0.0) == (k & 2 == 2);
        assert!(all.iter().filter(in_quarter).count() >= 2);
    }
    assert!(all.iter().any(|c| c.centres.iter().all(Option::is_some)));
    assert!(all.iter().any(|c| c.backlash_mm == 0.0) && all.iter().any(|c| c.backlash_mm > 0.3));
}
