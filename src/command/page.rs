//! `flankread page`: the way from photo to advice on a phone, served by this program.

use super::job::Database;
use super::{Outcome, OutputOptions};
use crate::page::{Listening, Pass, Settings, own_addresses};
use crate::schema::Card;
use crate::{Error, Result};
use clap::Args;
use qrcode::QrCode;
use qrcode::render::unicode;
use schemars::JsonSchema;
use serde::Serialize;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A page for the phone beside the axle: take the photos, put the outlines right with a thumb, get the advice, log the trial.
/// Everything is served by this program; nothing comes from or goes to the internet.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  flankread page --card axle.toml
  flankread page --lan

Without --lan only this machine reaches the page. With it, every phone on the same network does that was paired by the code
on this screen, once for each phone. What is sent goes over that network unencrypted: use one that you trust.

Photos lie in a folder for each job beside the workshop's database (workshop.db has workshop-photos), made when the first
photo comes, freed of the place and owner that cameras write into them. Marks lie beside each photo as PHOTO.marks.json:
`flankread read` uses them, and marks that you put there are on the page. Photos of recorded trials are in the database too.

Ctrl-C ends it; nothing that is recorded is lost, and the page goes on where it was when it is served again.")]
pub(super) struct PageArgs {
    /// The card of the gear set that a new job begins with.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// Open the page to this machine's network, behind a code for each phone.
    #[arg(long)]
    lan: bool,
    /// The folder of photos; else one beside the database.
    #[arg(long, value_name = "DIR")]
    photos: Option<PathBuf>,
    /// A folder whose batch and replies are shown.
    #[arg(long, value_name = "FOLDER")]
    inbox: Option<PathBuf>,
    /// The port.
    #[arg(long, value_name = "PORT", default_value_t = 7373)]
    port: u16,
    /// Do not open a browser.
    #[arg(long)]
    no_browser: bool,
    #[command(flatten)]
    database: Database,
}

/// What `page --json` prints before it serves.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PageDocument<'a> {
    /// Always `flankread/page/1`.
    schema: &'static str,
    /// The page's address on this machine.
    address: &'a str,
    /// The folder of photos.
    photos: &'a Path,
    /// Its addresses on the network, where it is open to that.
    lan: Vec<String>,
    /// The code for the next phone.
    #[serde(skip_serializing_if = "Option::is_none")]
    code: Option<&'a str>,
}

/// Where photos lie when nothing else is said: `workshop-photos` beside `workshop.db`.
fn photos_beside(database: &Path) -> PathBuf {
    let mut name = database.file_stem().unwrap_or_default().to_owned();
    name.push("-photos");
    database.with_file_name(name)
}

pub(super) fn run(args: &PageArgs, output: OutputOptions) -> Result<Outcome> {
    let database = args.database.path();
    let photos = args
        .photos
        .clone()
        .unwrap_or_else(|| photos_beside(&database));
    let card = args.card.as_ref().map(Card::read).transpose()?;
    if let Some(card) = &card {
        crate::job::begin::meshes(card)?;
    }
    if let Some(inbox) = args.inbox.as_ref().filter(|inbox| !inbox.is_dir()) {
        return Err(Error::usage(format!("{} is no folder", inbox.display())));
    }
    let own = own_addresses();
    let settings = Settings {
        database,
        photos: photos.clone(),
        card,
        lan: args.lan,
        port: args.port,
        shown: Box::new(move |card| output.shown(card)),
        inbox: args.inbox.clone(),
        new_code: Box::new({
            let own = own.clone();
            move |code, port| say_code(code, &own, port)
        }),
    };
    let listening = Listening::bind(settings)?;
    let port = listening.port();
    let pass = listening.pass();
    let address = format!("http://127.0.0.1:{port}/");
    if output.json {
        let lan = own.iter().filter(|_| args.lan);
        super::print_json(&PageDocument {
            schema: "flankread/page/1",
            address: &address,
            photos: &photos,
            lan: lan.map(|ip| format!("http://{ip}:{port}/")).collect(),
            code: pass.as_ref().map(|pass| pass.phone.as_str()),
        })?;
    } else if !output.quiet {
        eprintln!("The page is served at {address}");
        eprintln!("Photos lie in {}.", photos.display());
        if pass.is_none() {
            eprintln!("Only this machine reaches it; `flankread page --lan` opens it to phones.");
        }
    }
    if let Some(pass) = &pass {
        say_open_to_network(&own, port, pass);
    }
    if !args.no_browser {
        open_browser(&own_page(&address, pass.as_ref()));
    }
    listening.serve(std::future::pending())?;
    Ok(Outcome::Answered)
}

/// The page for the browser on this machine, with the code that is good only here.
fn own_page(address: &str, pass: Option<&Pass>) -> String {
    match pass {
        Some(pass) => format!("{address}pair#{}", pass.own),
        None => address.to_owned(),
    }
}

/// Says plainly that others reach the page, and how.
fn say_open_to_network(own: &[IpAddr], port: u16, pass: &Pass) {
    eprintln!(
        "\nOPEN TO THE NETWORK: everybody on it who has a code sees jobs and photos and can record trials."
    );
    eprintln!(
        "What is sent is not encrypted; use a network that you trust. Ctrl-C closes the page."
    );
    if own.is_empty() {
        eprintln!("This machine is on no network now; connect it, then start again.");
    }
    say_code(&pass.phone, own, port);
}

/// The code for the next phone, in letters and as a picture for its camera.
fn say_code(code: &str, own: &[IpAddr], port: u16) {
    let (first, second) = code.split_at(code.len() / 2);
    eprintln!("\nNext phone: open the address, type the code {first} {second} (good once).");
    for ip in own {
        let address = format!("http://{ip}:{port}/pair");
        eprintln!("  {address}");
        // Behind #, so that the code is in no request that others may log.
        if let Ok(picture) = QrCode::new(format!("{address}#{code}")) {
            let mut picture = picture.render::<unicode::Dense1x2>();
            eprintln!("{}", picture.quiet_zone(true).build());
        }
    }
}

/// Opens the usual browser. That it cannot be opened is worth a line, no more.
fn open_browser(address: &str) {
    let (opener, arguments): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        ("rundll32", &["url.dll,FileProtocolHandler"])
    } else {
        ("xdg-open", &[])
    };
    let quiet = || Stdio::null();
    let opened = Command::new(opener)
        .args(arguments)
        .arg(address)
        .stdin(quiet())
        .stdout(quiet())
        .stderr(quiet())
        .spawn();
    match opened {
        Ok(mut opener) => {
            // Whoever ends must be waited for.
            std::thread::spawn(move || opener.wait());
        }
        Err(_) => eprintln!("No browser was opened; open {address} yourself."),
    }
}
