//! The description of all addresses below `/api` (OpenAPI 3.1), with the schemas of the documents from their own types.

use super::answer::{Answer, json};
use super::fields::Fields;
use super::folder::NextTrial;
use super::jobs::{AnswerTold, JobTold, NoteTold, Questions, StrikeTold, Understood};
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

/// One address: method, path, what it does, what it takes, what it gives.
struct Route {
    method: &'static str,
    path: &'static str,
    does: &'static str,
    takes: Takes,
    gives: Gives,
}

enum Takes {
    Nothing,
    /// A document of this schema.
    Document(Schema),
    /// The file of a photo, as it is.
    Photo,
}

enum Gives {
    Document(Schema),
    File(&'static str),
}

const fn route(
    method: &'static str,
    path: &'static str,
    does: &'static str,
    takes: Takes,
    gives: Gives,
) -> Route {
    Route {
        method,
        path,
        does,
        takes,
        gives,
    }
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

fn routes(of: &mut SchemaGenerator) -> Vec<Route> {
    use Gives::{Document as Gives_, File};
    use Takes::{Document as Takes_, Nothing, Photo};
    macro_rules! gives {
        ($t:ty) => {
            Gives_(of.subschema_for::<$t>())
        };
    }
    macro_rules! takes {
        ($t:ty) => {
            Takes_(of.subschema_for::<$t>())
        };
    }
    vec![
        route(
            "get",
            "/api/openapi.json",
            "This description.",
            Nothing,
            File("application/json"),
        ),
        route(
            "get",
            "/api/start",
            "What the page must know first.",
            Nothing,
            gives!(Start),
        ),
        route(
            "post",
            "/api/pair",
            "Lets a phone in by the code on the computer's screen.",
            takes!(CodeTold),
            gives!(Paired),
        ),
        route(
            "get",
            "/api/card/questions",
            "The questions that make a short card.",
            Nothing,
            gives!(Questions),
        ),
        route(
            "post",
            "/api/card/check",
            "Whether an answer to one of them would do.",
            takes!(AnswerTold),
            gives!(Understood),
        ),
        route(
            "get",
            "/api/jobs",
            "The workshop's jobs, newest first.",
            Nothing,
            gives!(JobAnswer),
        ),
        route(
            "post",
            "/api/jobs",
            "Begins a job.",
            takes!(JobTold),
            gives!(JobAnswer),
        ),
        route(
            "get",
            "/api/jobs/{job}",
            "Everything that is recorded of a job.",
            Nothing,
            gives!(Record),
        ),
        route(
            "get",
            "/api/jobs/{job}/next",
            "The next station, and what is missing there.",
            Nothing,
            gives!(JobAnswer),
        ),
        route(
            "get",
            "/api/jobs/{job}/fields",
            "The values to ask for of the next trial.",
            Nothing,
            gives!(Fields),
        ),
        route(
            "post",
            "/api/jobs/{job}/notes",
            "Adds a note.",
            takes!(NoteTold),
            gives!(JobAnswer),
        ),
        route(
            "post",
            "/api/jobs/{job}/trials",
            "Records an assembly with the photos that wait for it.",
            takes!(TrialTold),
            gives!(JobAnswer),
        ),
        route(
            "post",
            "/api/jobs/{job}/trials/{trial}/strike",
            "Strikes a trial out.",
            takes!(StrikeTold),
            gives!(JobAnswer),
        ),
        route(
            "get",
            "/api/jobs/{job}/trials/{trial}/photos/{place}",
            "A recorded photo with its outlines; places count from 0.",
            Nothing,
            File("image/jpeg"),
        ),
        route(
            "post",
            "/api/jobs/{job}/advice",
            "What to change next; it is kept with the job.",
            Nothing,
            gives!(Advice),
        ),
        route(
            "get",
            "/api/jobs/{job}/sheet.html",
            "The build sheet.",
            Nothing,
            File("text/html"),
        ),
        route(
            "get",
            "/api/jobs/{job}/sheet.pdf",
            "The build sheet.",
            Nothing,
            File("application/pdf"),
        ),
        route(
            "post",
            "/api/sets",
            "A set of photos without a job.",
            Nothing,
            gives!(NewSet),
        ),
        route(
            "get",
            "/api/sets/{set}",
            "The photos of the next trial: `job-NUMBER`, or a set without a job.",
            Nothing,
            gives!(NextTrial),
        ),
        route(
            "get",
            "/api/sets/{set}/answer",
            "What the photos say without a card.",
            Nothing,
            gives!(ReadAnswer),
        ),
        route(
            "post",
            "/api/sets/{set}/photos",
            "Takes a photo in, with ?flank=drive or ?flank=coast, and reads it.",
            Photo,
            gives!(PhotoAnswer),
        ),
        route(
            "get",
            "/api/sets/{set}/photos/{photo}",
            "A photo's reading, with the marks beside it.",
            Nothing,
            gives!(PhotoAnswer),
        ),
        route(
            "get",
            "/api/sets/{set}/photos/{photo}/picture",
            "The upright photo, smaller.",
            Nothing,
            File("image/jpeg"),
        ),
        route(
            "post",
            "/api/sets/{set}/photos/{photo}/try",
            "What the reading would be with these marks; nothing is kept.",
            takes!(MarksTold),
            gives!(PhotoAnswer),
        ),
        route(
            "put",
            "/api/sets/{set}/photos/{photo}/marks",
            "Keeps marks beside the photo.",
            takes!(MarksTold),
            gives!(PhotoAnswer),
        ),
        route(
            "delete",
            "/api/sets/{set}/photos/{photo}/marks",
            "Back to the outlines that the program finds.",
            Nothing,
            gives!(PhotoAnswer),
        ),
        route(
            "put",
            "/api/sets/{set}/photos/{photo}/words",
            "What the user says of a photo.",
            takes!(PhotoWords),
            gives!(PhotoAnswer),
        ),
        route(
            "get",
            "/api/batch",
            "A batch with its replies.",
            Nothing,
            gives!(BatchAnswer),
        ),
    ]
}

/// The whole description.
pub(super) fn description() -> Value {
    let settings = SchemaSettings::draft2020_12().with(|s| {
        s.definitions_path = "/components/schemas".into();
    });
    let mut of = SchemaGenerator::new(settings);
    let routes = routes(&mut of);
    let failure = of.subschema_for::<Failure>();
    let mut paths = Map::new();
    for route in routes {
        let place = paths
            .entry(route.path.to_owned())
            .or_insert_with(|| value!({}));
        place[route.method] = operation(&route, &failure);
    }
    value!({
        "openapi": "3.1.0",
        "info": {"title": "flankread page", "version": env!("CARGO_PKG_VERSION"),
            "description": "Requests that change something carry the header x-flankread. Lengths are millimetres, torques newton-metres, places shares of the flank."},
        "paths": paths,
        "components": {"schemas": of.take_definitions(true)},
    })
}

fn operation(route: &Route, failure: &Schema) -> Value {
    let named = route
        .path
        .split('{')
        .skip(1)
        .filter_map(|part| part.split('}').next());
    let mut parameters: Vec<Value> = named
        .map(|name| value!({"name": name, "in": "path", "required": true, "schema": {"type": "string"}}))
        .collect();
    let mut operation = value!({"summary": route.does});
    match &route.takes {
        Takes::Nothing => {}
        Takes::Document(schema) => {
            operation["requestBody"] =
                value!({"required": true, "content": {"application/json": {"schema": schema}}});
        }
        Takes::Photo => {
            parameters.push(value!({"name": "flank", "in": "query", "required": true,
                "schema": {"type": "string", "enum": ["drive", "coast"]}}));
            operation["requestBody"] = value!({"required": true, "content": {"image/*": {}, "application/octet-stream": {}}});
        }
    }
    if !parameters.is_empty() {
        operation["parameters"] = parameters.into();
    }
    let content = match &route.gives {
        Gives::Document(schema) => value!({"application/json": {"schema": schema}}),
        Gives::File(kind) => value!({*kind: {}}),
    };
    let refused = value!({"description": "It was not done: why, and what to do.",
        "content": {"application/json": {"schema": failure}}});
    operation["responses"] =
        value!({"200": {"description": "Done.", "content": content}, "default": refused});
    operation
}

/// `GET /api/openapi.json`
pub(super) fn answer() -> Answer {
    json(&description())
}
