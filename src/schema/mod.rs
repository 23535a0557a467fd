//! The words that travel: the types of the published JSON, which `flankread schema` prints. No work is
//! done here.
//!
//! Fields may be added; renaming or re-meaning one raises the number in that document's `SCHEMA`.

pub mod advice;
pub mod blank_table;
pub mod card;
#[cfg(feature = "cli")]
pub(crate) mod direction;
#[cfg(feature = "cli")]
pub(crate) mod failure;
pub mod gear;
#[cfg(feature = "cli")]
pub(crate) mod read;
pub mod reading;
#[cfg(feature = "cli")]
pub(crate) mod record;
#[cfg(feature = "cli")]
pub(crate) mod simulation;
pub mod trial;

pub use advice::{
    Advice, Band, Check, CheckCode, Diagnosis, FlankDiagnosis, Move, Pack, Predicted, ReadingKind,
    RunnerUp, Share, Shims, Suspect, SuspectKind, Unexplained, Verdict,
};
pub use blank_table::BlankTable;
pub use card::{
    Adjust, BacklashDirection, Card, Carrier, Gear, Housing, Kit, Limits, MarkSense, MarkUnit,
    Pinion, Preload, PreloadOn, ShimPlace, Target, USUAL_BACKLASH_MM,
};
pub use gear::{Cutting, FlankForm, Hand, RingCut, Taper};
pub use reading::{
    Compound, Corners, FlankSide, Margin, Mean, Patch, PhotoArea, PhotoFacts, PhotoPart, Polarity,
    Reading, Reason, ReasonCode, SeenCutting, Source, Status, Tooth,
};
pub use trial::{Condition, FlankReading, Trial};
