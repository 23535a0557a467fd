//! The description of all addresses below `/api` (OpenAPI 3.1), with the schemas of the documents from their own types.

use super::answer::{Answer, json};
use super::fields::Fields;
use super::folder::NextTrial;
use super::jobs::{AnswerTold, JobTold, LookedTold, NoteTold, Questions, StrikeTold, Understood};
use super::learn::BatchAnswer;
use super::pages::Start;
use super::photo_answer::PhotoAnswer;
use super::photos::{NewSet, PhotoWords};
use super::routes::CodeTold;
use super::told::TrialTold;
use crate::frames::Side;
use crate::job::answers::JobAnswer;
use crate::schema::failure::Failure;
use crate::schema::read::ReadAnswer;
use crate::schema::record::Record;
use crate::schema::{Advice, Polarity};
use schemars::generate::{SchemaGenerator, SchemaSettings};
use schemars::{JsonSchema, Schema};
use serde_json::{Map, Value, json as value};

/// Every address below `/api`, one a line: method, path, the document it takes, the document or the type of file it gives,
/// what it does.
const ADDRESSES: &str = include_str!("addresses.txt");

/// One of them.
struct Address<'a> {
    method: &'a str,
    path: &'a str,
    takes: &'a str,
    gives: &'a str,
    does: &'a str,
}

fn addresses() -> impl Iterator<Item = Address<'static>> {
    ADDRESSES.lines().filter_map(|line| {
        let mut parts = line.splitn(5, " | ");
        Some(Address {
            method: parts.next()?,
            path: parts.next()?,
            takes: parts.next()?,
            gives: parts.next()?,
            does: parts.next()?,
        })
    })
}

/// Marks of a photo as a file of them holds them.
#[derive(JsonSchema)]
#[allow(dead_code)]
struct MarksTold {
    /// Which flank the photo shows.
    flank: Option<Side>,
    /// How contact shows.
    polarity: Option<Polarity>,
    /// The marked flanks.
    teeth: Vec<MarkedTooth>,
}

/// A marked flank: corners, and points along the curved sides, toe to heel; pixels of the upright photo.
#[derive(JsonSchema)]
#[allow(dead_code)]
struct MarkedTooth {
    toe_root: [f64; 2],
    toe_tip: [f64; 2],
    heel_tip: [f64; 2],
    heel_root: [f64; 2],
    root: Option<Vec<[f64; 2]>>,
    tip: Option<Vec<[f64; 2]>>,
}

/// A phone was paired.
#[derive(JsonSchema)]
#[allow(dead_code)]
struct Paired {
    /// Always `flankread/page-paired/1`.
    schema: String,
}

/// The schemas of what is taken and of what is given: what a document leaves out where there is nothing to say is not
/// required of it.
struct Generators {
    taken: SchemaGenerator,
    given: SchemaGenerator,
}

impl Generators {
    /// The schema of a document that is taken, by its name in the list.
    fn takes(&mut self, name: &str) -> Option<Schema> {
        let of = &mut self.taken;
        Some(match name {
            "CodeTold" => of.subschema_for::<CodeTold>(),
            "AnswerTold" => of.subschema_for::<AnswerTold>(),
            "JobTold" => of.subschema_for::<JobTold>(),
            "NoteTold" => of.subschema_for::<NoteTold>(),
            "TrialTold" => of.subschema_for::<TrialTold>(),
            "LookedTold" => of.subschema_for::<LookedTold>(),
            "StrikeTold" => of.subschema_for::<StrikeTold>(),
            "MarksTold" => of.subschema_for::<MarksTold>(),
            "PhotoWords" => of.subschema_for::<PhotoWords>(),
            _ => return None,
        })
    }

    /// The schema of a document that is given.
    fn gives(&mut self, name: &str) -> Option<Schema> {
        let of = &mut self.given;
        Some(match name {
            "Start" => of.subschema_for::<Start>(),
            "Paired" => of.subschema_for::<Paired>(),
            "Questions" => of.subschema_for::<Questions>(),
            "Understood" => of.subschema_for::<Understood>(),
            "JobAnswer" => of.subschema_for::<JobAnswer>(),
            "Record" => of.subschema_for::<Record>(),
            "Fields" => of.subschema_for::<Fields>(),
            "Advice" => of.subschema_for::<Advice>(),
            "NewSet" => of.subschema_for::<NewSet>(),
            "NextTrial" => of.subschema_for::<NextTrial>(),
            "ReadAnswer" => of.subschema_for::<ReadAnswer>(),
            "PhotoAnswer" => of.subschema_for::<PhotoAnswer>(),
            "BatchAnswer" => of.subschema_for::<BatchAnswer>(),
            _ => return None,
        })
    }
}

/// The whole description.
pub(super) fn description() -> Value {
    let settings = SchemaSettings::draft2020_12().with(|s| {
        s.definitions_path = "/components/schemas".into();
    });
    let mut of = Generators {
        taken: SchemaGenerator::new(settings.clone()),
        given: SchemaGenerator::new(settings.for_serialize()),
    };
    let failure = of.given.subschema_for::<Failure>();
    let mut paths = Map::new();
    for address in addresses() {
        let place = paths
            .entry(address.path.to_owned())
            .or_insert_with(|| value!({}));
        place[address.method] = operation(&address, &mut of, &failure);
    }
    // Types of both are plain words, which are the same either way.
    let mut schemas = of.taken.take_definitions(true);
    schemas.extend(of.given.take_definitions(true));
    value!({
        "openapi": "3.1.0",
        "info": {"title": "flankread page", "version": env!("CARGO_PKG_VERSION"),
            "description": "Requests that change something carry the header x-flankread. Lengths are millimetres, torques newton-metres, places shares of the flank."},
        "paths": paths,
        "components": {"schemas": schemas},
    })
}

fn operation(address: &Address, of: &mut Generators, failure: &Schema) -> Value {
    let named = address.path.split('{').skip(1);
    let mut parameters: Vec<Value> = named
        .filter_map(|part| part.split('}').next())
        .map(|name| value!({"name": name, "in": "path", "required": true, "schema": {"type": "string"}}))
        .collect();
    let mut operation = value!({"summary": address.does});
    if let Some(schema) = of.takes(address.takes) {
        let content = value!({"application/json": {"schema": schema}});
        operation["requestBody"] = value!({"required": true, "content": content});
    } else if address.takes == "photo" {
        let flanks = value!({"type": "string", "enum": ["drive", "coast"]});
        parameters
            .push(value!({"name": "flank", "in": "query", "required": true, "schema": flanks}));
        let content = value!({"image/*": {}, "application/octet-stream": {}});
        operation["requestBody"] = value!({"required": true, "content": content});
    }
    if !parameters.is_empty() {
        operation["parameters"] = parameters.into();
    }
    let content = match of.gives(address.gives) {
        Some(schema) => value!({"application/json": {"schema": schema}}),
        None => value!({address.gives: {}}),
    };
    let refused = value!({"description": "It was not done: why, and what to do.",
        "content": {"application/json": {"schema": failure}}});
    let done = value!({"description": "Done.", "content": content});
    operation["responses"] = value!({"200": done, "default": refused});
    operation
}

/// `GET /api/openapi.json`
pub(super) fn answer() -> Answer {
    json(&description())
}
