//! What is written down of the page: the description of its addresses, and scripts that an old phone understands.

use super::lent::{card, photo, serve};
use crate::page::openapi::description;
use crate::page::pages::ASSETS;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// All `$ref` in a document.
fn references(of: &Value, found: &mut BTreeSet<String>) {
    match of {
        Value::Object(parts) => {
            if let Some(Value::String(reference)) = parts.get("$ref") {
                found.insert(reference.clone());
            }
            parts.values().for_each(|part| references(part, found));
        }
        Value::Array(parts) => parts.iter().for_each(|part| references(part, found)),
        _ => {}
    }
}

/// Holds an answer against its schema in the description; the judge is the `jsonschema` crate.
fn keeps_to(described: &Value, schema: &Value, answer: &Value, path: &str) {
    let mut whole = schema.clone();
    whole["components"] = described["components"].clone();
    let validator = jsonschema::validator_for(&whole).unwrap();
    let faults: Vec<String> = validator
        .iter_errors(answer)
        .map(|fault| fault.to_string())
        .collect();
    assert!(faults.is_empty(), "{path}: {faults:?} in {answer}");
}

#[test]
#[ignore = "slow: by .ci/run"]
fn every_described_address_is_served_and_every_reference_leads_somewhere() {
    let described = description();
    let mut found = BTreeSet::new();
    references(&described, &mut found);
    assert!(found.len() > 20);
    for reference in found {
        let place = reference.strip_prefix('#').unwrap();
        assert!(described.pointer(place).is_some(), "{reference}");
    }
    let folder = tempfile::tempdir().unwrap();
    let page = serve(folder.path(), false, Some(card()));
    page.job("mine");
    let out = folder.path().join("flankread-batch");
    std::fs::create_dir(&out).unwrap();
    std::fs::write(out.join("sets.jsonl"), "{\"set\": \"one\"}\n").unwrap();
    let photo = page.upload("job-1", "drive", &photo("drive.jpg")).json()["photo"]
        .as_str()
        .unwrap()
        .to_owned();
    page.upload("job-1", "coast", &super::lent::photo("coast.jpg"));
    let trial = page.send(
        "POST",
        "/api/jobs/1/trials",
        &json!({"backlash": ["0.28mm"]}),
    );
    assert_eq!(trial.status, 200);
    for (path, methods) in described["paths"].as_object().unwrap() {
        let filled = path
            .replace("{set}", "job-1")
            .replace("{photo}", &photo)
            .replace("{job}", "1")
            .replace("{trial}", "1")
            .replace("{place}", "0");
        for method in methods.as_object().unwrap().keys() {
            if method == "get" {
                let came = page.get(&filled);
                assert_eq!(came.status, 200, "{path}");
                let content = methods["get"]["responses"]["200"]["content"]
                    .as_object()
                    .unwrap();
                let kind = came
                    .header("content-type")
                    .unwrap()
                    .split(';')
                    .next()
                    .unwrap();
                assert!(content.contains_key(kind), "{path}: {kind}");
                if kind == "application/json" && path != "/api/openapi.json" {
                    keeps_to(&described, &content[kind]["schema"], &came.json(), path);
                }
            } else {
                // An empty document is wrong for most, but the address must be one.
                let came = page.send(&method.to_uppercase(), &filled, &json!({}));
                assert!(
                    ![404, 405, 500].contains(&came.status),
                    "{method} {path}: {}",
                    came.status
                );
            }
        }
    }
}

/// ECMAScript 2017 has none of these; browsers that know no more are on phones of 2017.
#[test]
fn scripts_are_plain_enough_for_an_old_phone() {
    for (name, kind, text) in ASSETS {
        if !kind.starts_with("text/javascript") {
            continue;
        }
        for newer in [
            "?.",
            "??",
            "...",
            "replaceAll",
            ".flat(",
            ".flatMap(",
            ".at(",
            "Object.fromEntries",
            "import ",
            "export ",
            "=> {",
            "`",
        ] {
            let code: String = text
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
                .collect();
            // Words of the command line stand between backquotes in two scripts.
            let is_quoted = newer == "`" && ["words.js", "start.js"].contains(&name);
            assert!(is_quoted || !code.contains(newer), "{name}: {newer}");
        }
        for loose in [
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "http://",
            "https://",
        ] {
            let own = text.replace("http://www.w3.org/2000/svg", "");
            assert!(!own.contains(loose), "{name}: {loose}");
        }
    }
}
