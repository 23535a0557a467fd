//! Who may come in: this machine, or whoever read a code off its screen, and never another site's page.

use super::answer::Failed;
use crate::job::new_trial::sha256;
use axum::http::{HeaderMap, Method, Uri, header};
use std::collections::HashSet;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// The header that only the page's own script can send without the browser asking us first.
pub(super) const OWN_HEADER: &str = "x-flankread";

/// Letters of a code: none that is taken for another one.
const LETTERS: &[u8; 32] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
/// Forty bits: ten guesses find it once in a hundred thousand million times.
const CODE_LETTERS: usize = 8;
/// After so many wrong codes no more is taken until the program is started again.
const MOST_WRONG: u32 = 10;
/// No more than one code in this time.
const BETWEEN_TRIES: Duration = Duration::from_millis(1000);

/// The two ends of a connection.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ends {
    /// Ours: the address that was asked for.
    pub here: SocketAddr,
    /// Theirs.
    pub there: SocketAddr,
}

/// Who may come in.
#[derive(Debug)]
pub(super) struct Gate {
    lan: bool,
    pairing: Mutex<Pairing>,
}

#[derive(Debug)]
struct Pairing {
    /// The code for the next phone.
    phone: String,
    /// The code for the browser that the program opens itself; only from this machine.
    own: String,
    /// Hashes of what those who were let in show.
    let_in: HashSet<String>,
    wrong: u32,
    last_try: Option<Instant>,
}

/// A code was used: what its bearer shows from now on, and the code for the next phone.
#[derive(Debug)]
pub(super) struct LetIn {
    pub token: String,
    /// The next code, where this one was a phone's.
    pub next: Option<String>,
}

/// What is needed to come in, for the terminal.
#[derive(Debug, Clone)]
pub(crate) struct Pass {
    /// The code for a phone.
    pub phone: String,
    /// The code for the browser on this machine.
    pub own: String,
}

/// Letters that cannot be guessed.
fn secret(letters: usize) -> Result<String, Failed> {
    let mut bytes = vec![0_u8; letters];
    getrandom::fill(&mut bytes).map_err(|_| Failed::broken())?;
    let letter = |byte: &u8| char::from(LETTERS[usize::from(byte % 32)]);
    Ok(bytes.iter().map(letter).collect())
}

impl Gate {
    /// A gate; `lan` asks everybody for a code.
    ///
    /// # Errors
    /// The machine has no random numbers.
    pub(super) fn new(lan: bool) -> Result<Self, Failed> {
        Ok(Self {
            lan,
            pairing: Mutex::new(Pairing {
                phone: secret(CODE_LETTERS)?,
                own: secret(4 * CODE_LETTERS)?,
                let_in: HashSet::new(),
                wrong: 0,
                last_try: None,
            }),
        })
    }

    pub(super) const fn is_lan(&self) -> bool {
        self.lan
    }

    pub(super) fn pass(&self) -> Pass {
        let pairing = self.pairing();
        Pass {
            phone: pairing.phone.clone(),
            own: pairing.own.clone(),
        }
    }

    fn pairing(&self) -> MutexGuard<'_, Pairing> {
        self.pairing.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether a request may be answered.
    ///
    /// # Errors
    /// It names another host, comes from another site's page, or its sender was not let in.
    pub(super) fn check(
        &self,
        ends: Ends,
        method: &Method,
        uri: &Uri,
        headers: &HeaderMap,
    ) -> Result<(), Failed> {
        let host = own_host(ends.here, uri, headers).ok_or_else(|| {
            Failed::new(
                403,
                "this address is not that of the page; type the one that the computer shows",
            )
        })?;
        let elsewhere = || Failed::new(403, "another site's page asked for this; it gets nothing");
        let header = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or(""));
        let own = format!("http://{host}");
        if header("origin").is_some_and(|origin| origin != own) {
            return Err(elsewhere());
        }
        let is_look = matches!(*method, Method::GET | Method::HEAD);
        // A link on another page, or one that was sent, may lead to the page itself.
        let may_lead = is_look && (is_open(uri.path()) || uri.path() == "/");
        let same = |site: &str| matches!(site, "same-origin" | "none");
        if !may_lead && header("sec-fetch-site").is_some_and(|site| !same(site)) {
            return Err(elsewhere());
        }
        if !is_look && header(OWN_HEADER).is_none() {
            return Err(elsewhere());
        }
        if self.lan && !is_open(uri.path()) && !self.is_let_in(headers, ends.here.port()) {
            return Err(Failed::new(
                401,
                "this phone is not paired yet: read the code off the computer's screen, at the address /pair",
            ));
        }
        Ok(())
    }

    fn is_let_in(&self, headers: &HeaderMap, port: u16) -> bool {
        let name = cookie_name(port);
        let shown = headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|cookies| cookies.to_str().ok())
            .flat_map(|cookies| cookies.split(';'))
            .filter_map(|cookie| cookie.trim().split_once('='))
            .find(|(cookie, _)| *cookie == name);
        let pairing = self.pairing();
        // Hashes are compared, so that the time tells nothing of the token.
        shown.is_some_and(|(_, token)| pairing.let_in.contains(&sha256(token.as_bytes())))
    }

    /// Lets in whoever says the code. A code is good once.
    ///
    /// # Errors
    /// A wrong one, too soon after another, or after too many wrong ones.
    pub(super) fn pair(&self, ends: Ends, said: &str, now: Instant) -> Result<LetIn, Failed> {
        let said: String = said
            .chars()
            .filter(|c| c.is_ascii_alphanumeric())
            .map(|c| c.to_ascii_uppercase())
            .take(8 * CODE_LETTERS)
            .collect();
        let mut pairing = self.pairing();
        if ends.there.ip().to_canonical().is_loopback() && said == pairing.own {
            pairing.own = secret(4 * CODE_LETTERS)?;
            return pairing.let_in(None);
        }
        if pairing.wrong >= MOST_WRONG {
            return Err(Failed::new(
                423,
                "too many wrong codes: pairing is shut; stop the program on the computer and start it again",
            ));
        }
        let soon = |last: Instant| now.saturating_duration_since(last) < BETWEEN_TRIES;
        if pairing.last_try.is_some_and(soon) {
            return Err(Failed::new(429, "one code a second: wait, then try again").retry_after(1));
        }
        pairing.last_try = Some(now);
        if sha256(said.as_bytes()) != sha256(pairing.phone.as_bytes()) {
            pairing.wrong += 1;
            return Err(Failed::new(
                403,
                "that is not the code on the computer's screen; a code is good for one phone, the next one stands below it",
            ));
        }
        pairing.wrong = 0;
        pairing.phone = secret(CODE_LETTERS)?;
        let next = pairing.phone.clone();
        pairing.let_in(Some(next))
    }
}

impl Pairing {
    fn let_in(&mut self, next: Option<String>) -> Result<LetIn, Failed> {
        let token = secret(52)?;
        self.let_in.insert(sha256(token.as_bytes()));
        Ok(LetIn { token, next })
    }
}

/// Cookies know no ports: two programs on one machine have two names.
pub(super) fn cookie_name(port: u16) -> String {
    format!("flankread_{port}")
}

/// What anybody may see: the page on which a code is typed.
fn is_open(path: &str) -> bool {
    matches!(
        path,
        "/pair" | "/assets/pair.js" | "/assets/page.css" | "/api/pair"
    )
}

/// The host that was asked for, if it is the address at which the connection arrived: a name that another site has turned
/// toward us is not.
fn own_host(here: SocketAddr, uri: &Uri, headers: &HeaderMap) -> Option<String> {
    let mut hosts = headers.get_all(header::HOST).iter();
    let (host, None) = (hosts.next()?.to_str().ok()?, hosts.next()) else {
        return None;
    };
    if uri.authority().is_some_and(|asked| asked.as_str() != host) {
        return None;
    }
    let ip = here.ip().to_canonical();
    let address = match ip {
        IpAddr::V4(ip) => ip.to_string(),
        IpAddr::V6(ip) => format!("[{ip}]"),
    };
    let port = here.port();
    let is_own = |name: &str| host == format!("{name}:{port}") || (port == 80 && host == name);
    (is_own(&address) || (ip.is_loopback() && is_own("localhost"))).then(|| host.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ends(there: &str) -> Ends {
        Ends {
            here: "192.168.1.5:7373".parse().unwrap(),
            there: there.parse().unwrap(),
        }
    }

    #[test]
    fn a_code_lets_one_phone_in_and_is_spent() {
        let gate = Gate::new(true).unwrap();
        let phone = ends("192.168.1.9:40000");
        let code = gate.pass().phone;
        assert_eq!(code.len(), CODE_LETTERS);
        let now = Instant::now();
        // As it is read out: small letters, a space in the middle.
        let spoken = format!("{} {}", &code[..4].to_lowercase(), &code[4..]);
        let let_in = gate.pair(phone, &spoken, now).unwrap();
        assert_ne!(let_in.next.as_ref(), Some(&code));
        let later = now + 2 * BETWEEN_TRIES;
        assert_eq!(gate.pair(phone, &code, later).unwrap_err().status(), 403);
    }

    #[test]
    fn guesses_are_slowed_and_then_shut_out_even_with_the_right_code() {
        let gate = Gate::new(true).unwrap();
        let phone = ends("192.168.1.9:40000");
        let mut now = Instant::now();
        for _ in 0..MOST_WRONG {
            now += 2 * BETWEEN_TRIES;
            assert_eq!(gate.pair(phone, "AAAA", now).unwrap_err().status(), 403);
            let at_once = gate.pair(phone, &gate.pass().phone, now).unwrap_err();
            assert_eq!(
                at_once.status(),
                if gate.pairing().wrong < MOST_WRONG {
                    429
                } else {
                    423
                }
            );
        }
        now += 100 * BETWEEN_TRIES;
        let code = gate.pass().phone;
        assert_eq!(gate.pair(phone, &code, now).unwrap_err().status(), 423);
    }

    #[test]
    fn the_browser_s_own_code_is_good_only_on_this_machine() {
        let gate = Gate::new(true).unwrap();
        let own = gate.pass().own;
        let now = Instant::now();
        assert!(gate.pair(ends("192.168.1.9:40000"), &own, now).is_err());
        assert!(gate.pair(ends("127.0.0.1:40000"), &own, now).is_ok());
        assert!(gate.pair(ends("127.0.0.1:40000"), &own, now).is_err());
    }

    #[test]
    fn only_the_address_of_the_connection_is_a_host() {
        let here: SocketAddr = "192.168.1.5:7373".parse().unwrap();
        let uri: Uri = "/".parse().unwrap();
        let host = |name: &str, here: SocketAddr| {
            let mut headers = HeaderMap::new();
            headers.insert(header::HOST, name.parse().unwrap());
            own_host(here, &uri, &headers).is_some()
        };
        assert!(host("192.168.1.5:7373", here));
        for other in [
            "evil.example:7373",
            "localhost:7373",
            "127.0.0.1:7373",
            "192.168.1.5",
            "192.168.1.5:80",
            "192.168.1.5.evil.example:7373",
        ] {
            assert!(!host(other, here), "{other}");
        }
        let local: SocketAddr = "[::ffff:127.0.0.1]:7373".parse().unwrap();
        assert!(host("localhost:7373", local) && host("127.0.0.1:7373", local));
        let mut twice = HeaderMap::new();
        twice.append(header::HOST, "192.168.1.5:7373".parse().unwrap());
        twice.append(header::HOST, "evil.example".parse().unwrap());
        assert!(own_host(here, &uri, &twice).is_none());
        assert!(own_host(here, &uri, &HeaderMap::new()).is_none());
    }
}
