use super::*;
use serde::Deserialize;

/// What another program says of a network's output; made by `examples/training/reference.py`.
#[derive(Deserialize)]
struct Reference {
    network: String,
    width: usize,
    height: usize,
    /// Planes, height and width of the output.
    shape: [usize; 3],
    /// Root mean square of the output.
    size: f32,
    /// The output, each so-manieth value of it.
    every: usize,
    values: Vec<f32>,
}

/// `picture` of `examples/training/reference.py`.
fn picture(width: usize, height: usize) -> Planes {
    let mut planes = Planes::zeros(3, width, height);
    for (number, value) in planes.values.iter_mut().enumerate() {
        let (plane, y, x) = (
            number / (width * height),
            number / width % height,
            number % width,
        );
        let (plane, y, x) = (plane as f64, y as f64, x as f64);
        let waves = (x / 5.0 + plane).sin() * (y / 7.0 - plane).cos() * 0.3
            + ((x + 2.0 * y) / 23.0).sin() * 0.15;
        let grain = (number * 7919 % 1013) as f64 / 1013.0 - 0.5;
        *value = (0.5 + waves + 0.05 * grain) as f32;
    }
    planes
}

#[test]
fn networks_say_what_another_program_makes_of_the_same_files() {
    let references: Vec<Reference> =
        serde_json::from_str(include_str!("reference.json")).expect("JSON");
    for reference in &references {
        let network = match reference.network.as_str() {
            "flank" => &FLANK,
            "patch" => &PATCH,
            "fine_patch" => &FINE_PATCH,
            "any_patch" => &ANY_PATCH,
            "fine_any_patch" => &FINE_ANY_PATCH,
            "outline" => &OUTLINE,
            other => panic!("{other}"),
        };
        let output = network.run(&picture(reference.width, reference.height));
        let shape = [output.planes, output.height, output.width];
        assert_eq!(shape, reference.shape, "{}", reference.network);
        let squares = output.values.iter().map(|value| value * value);
        let size = (squares.sum::<f32>() / output.values.len() as f32).sqrt();
        assert!((size - reference.size).abs() < 1e-3, "{size}");
        let got = output.values.iter().step_by(reference.every);
        assert_eq!(got.len(), reference.values.len());
        for (got, expected) in got.zip(&reference.values) {
            let most = 1e-4 * expected.abs().max(1.0);
            assert!((got - expected).abs() < most, "{got} {expected}");
        }
    }
    assert_eq!(references.len(), 12);
}

#[test]
fn the_weights_are_the_ones_that_were_measured() {
    let sums = ALL.map(|(name, network)| format!("{}  {name}.onnx\n", network.sha256()));
    assert_eq!(sums.concat(), CHECKSUMS);
}

#[test]
fn mirrored_planes_have_left_and_right_exchanged() {
    let picture = picture(5, 3);
    let mut mirrored = picture.clone();
    mirrored.mirror();
    for plane in 0..3 {
        for (at, value) in mirrored.plane(plane).iter().enumerate() {
            let (x, y) = (at % 5, at / 5);
            assert_eq!(*value, picture.plane(plane)[5 * y + 4 - x]);
        }
    }
}
