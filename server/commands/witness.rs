//! `rungbook witness`: another machine, or another person, keeps what a server signed and sees to it that the past stays.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::entry::Entry;
use programme::ledger::checkpoint::{Checkpoint, SignedCheckpoint};
use programme::ledger::note::Verifier;
use programme::ledger::{NodeHash, consistency_holds, inclusion_holds, leaf_hash};
use programme::record::Record;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::value::RawValue;

use super::{Failure, password};

/// The greatest answer that is read, in bytes; a proof is far below it.
const LARGEST_ANSWER: u64 = 1 << 20;

/// Keep a server's latest signed checkpoint, after checking that its ledger only grew since the last one kept.
///
/// Run it from time to time on another machine, which somebody else looks after. It signs in as a person who may read; the
/// password is read from RUNGBOOK_PASSWORD, or asked for. It ends with status 1, and keeps what it was shown as evidence, where
/// the server shows another past than it showed before.
#[derive(Debug, Args)]
pub struct Witness {
    /// The server, such as https://192.168.7.7:8440
    #[arg(long, value_name = "URL")]
    server: String,
    /// The programme's id there
    #[arg(long, value_name = "ID")]
    programme: ProgrammeId,
    /// Who signs in; somebody who only reads is best
    #[arg(long, value_name = "HANDLE")]
    handle: PersonHandle,
    /// The folder in which checkpoints are kept
    #[arg(long, value_name = "DIR")]
    keep: PathBuf,
    /// The key that signs there, as noted elsewhere; without it the first one seen is noted in the folder, and held to
    #[arg(long, value_name = "KEY")]
    key: Option<Verifier>,
    /// The certificate of the authority that the server's TLS rests on (PEM), where it is the server's own
    #[arg(long, value_name = "FILE")]
    authority: Option<PathBuf>,
}

#[derive(Deserialize)]
struct SignedIn {
    access_token: String,
}

#[derive(Deserialize)]
struct Keys {
    keys: Vec<String>,
}

#[derive(Deserialize)]
struct HandedOverKeys {
    handed_over: Vec<HandedOver>,
}

#[derive(Deserialize)]
struct HandedOver {
    record: u64,
    checkpoint: u64,
}

#[derive(Deserialize)]
struct ShownRecord {
    entry: Box<RawValue>,
}

#[derive(Deserialize)]
struct Proof {
    proof: Vec<NodeHash>,
}

impl Witness {
    /// Asks, checks, and keeps.
    ///
    /// # Errors
    ///
    /// [`Failure`] where the server cannot be asked, or what it shows does not follow from what was kept.
    pub fn run(self) -> Result<(), Failure> {
        fs::create_dir_all(&self.keep)?;
        let server = Server::sign_in(&self)?;
        let mut key = self.noted_key(&server)?;
        let text = server.ask("ledger/checkpoint")?;
        let shown: SignedCheckpoint = text.parse()?;
        let Checkpoint { size, root, .. } = shown.checkpoint;
        if !shown.is_signed_by(&key) {
            self.follow(&server, &shown, &mut key)?;
        }
        if !shown.is_signed_by(&key) {
            return Err(self.suspect(&text, size, &format!("it is not signed by {key}")));
        }
        let latest = self.path("latest.checkpoint");
        let Some(before) = read_if_there(&latest)? else {
            self.keep(&text, size)?;
            println!(
                "{}: {size} records; kept as the first checkpoint in {}",
                self.programme,
                self.keep.display()
            );
            return Ok(());
        };
        let before: SignedCheckpoint = before.parse()?;
        let Checkpoint { size: size_before, root: root_before, origin } = before.checkpoint;
        if origin != shown.checkpoint.origin {
            let why = format!("it names another ledger than {origin}");
            return Err(self.suspect(&text, size, &why));
        }
        if size < size_before {
            let why = format!("it has fewer records than the {size_before} that were there before");
            return Err(self.suspect(&text, size, &why));
        }
        let asked = format!("ledger/consistency?first={size_before}&second={size}");
        let Proof { proof } = server.ask_json(&asked)?;
        if !consistency_holds(size_before, size, &proof, root_before, root) {
            let why =
                format!("it does not follow from the {size_before} records that were there before");
            return Err(self.suspect(&text, size, &why));
        }
        self.keep(&text, size)?;
        println!(
            "{}: {size} records; they follow from the {size_before} kept before",
            self.programme
        );
        Ok(())
    }

    /// The key that was given, or that was noted; else the server's newest, which is noted.
    fn noted_key(&self, server: &Server<'_>) -> Result<Verifier, Failure> {
        if let Some(key) = &self.key {
            return Ok(key.clone());
        }
        let path = self.path("key");
        if let Some(noted) = read_if_there(&path)? {
            return Ok(noted.parse()?);
        }
        let Keys { keys } = server.ask_json("ledger/keys")?;
        let newest = keys.last().ok_or_else(|| {
            Failure::of_work("rungbook: the server has no key that signs checkpoints yet")
        })?;
        let key: Verifier = newest.parse()?;
        write_whole(&path, &format!("{key}\n"))?;
        println!(
            "Noted the key of this server for the first time; compare it with what others noted:"
        );
        println!("  {key}");
        Ok(key)
    }

    /// Follows from the noted key to the one that signs now, where each handed over to the next: the record that names both
    /// stands in a checkpoint that the former signed.
    fn follow(
        &self,
        server: &Server<'_>,
        shown: &SignedCheckpoint,
        key: &mut Verifier,
    ) -> Result<(), Failure> {
        let HandedOverKeys { handed_over } = server.ask_json("ledger/keys")?;
        let noted = key.clone();
        for HandedOver { record, checkpoint } in handed_over {
            let text = server.ask(&format!("ledger/checkpoint?size={checkpoint}"))?;
            let signed: SignedCheckpoint = text.parse()?;
            let Checkpoint { origin, size, root } = &signed.checkpoint;
            let ShownRecord { entry } = server.ask_json(&format!("ledger/records/{record}"))?;
            let Record::CheckpointKeyChanged(change) = Entry::from_json(entry.get())?.record else {
                continue;
            };
            let asked = format!("ledger/inclusion?seq={record}&size={size}");
            let Proof { proof } = server.ask_json(&asked)?;
            let leaf = leaf_hash(entry.get().as_bytes());
            let index = record.saturating_sub(1);
            let stands = origin == &shown.checkpoint.origin
                && change.before.bytes() == &key.key()
                && signed.is_signed_by(key)
                && inclusion_holds(leaf, index, *size, &proof, *root);
            if let Some(next) = store::verifier(origin, &change.key).filter(|_| stands) {
                *key = next;
            }
        }
        if *key != noted && shown.is_signed_by(key) {
            write_whole(&self.path("key"), &format!("{key}\n"))?;
            println!("The key that was noted handed over to another one, which is noted now:");
            println!("  {key}");
        }
        Ok(())
    }

    fn keep(&self, text: &str, size: u64) -> Result<(), Failure> {
        write_whole(&self.path(&format!("{size}.checkpoint")), text)?;
        write_whole(&self.path("latest.checkpoint"), text)?;
        Ok(())
    }

    /// Keeps what does not fit, beside what was kept before.
    fn suspect(&self, text: &str, size: u64, why: &str) -> Failure {
        let path = self.path(&format!("refused-{size}.checkpoint"));
        let kept = match write_whole(&path, text) {
            Ok(()) => format!("What it showed is kept in {}.", path.display()),
            Err(error) => format!("What it showed could not be kept ({error}):\n{text}"),
        };
        Failure::of_work(format!(
            "rungbook: programme {}: the checkpoint of {size} records is not believed: {why}. {kept} Do not rely on this server's \
             records until somebody finds out why.",
            self.programme
        ))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.keep.join(format!("{}.{name}", self.programme))
    }
}

/// A server that somebody is signed in to.
struct Server<'a> {
    asked: &'a Witness,
    agent: ureq::Agent,
    token: String,
}

impl<'a> Server<'a> {
    fn sign_in(asked: &'a Witness) -> Result<Self, Failure> {
        let agent = agent(asked.authority.as_deref())?;
        let credentials = serde_json::json!({
            "handle": asked.handle, "password": password::known_password()?
        });
        let address = format!("{}/api/v1/sessions", asked.server.trim_end_matches('/'));
        let mut reply = agent
            .post(&address)
            .send_json(credentials)
            .map_err(|error| unreachable(&address, &error))?;
        let SignedIn { access_token: token } = read(&mut reply, &address)?;
        Ok(Self { asked, agent, token })
    }

    fn get(&self, rest: &str) -> Result<(ureq::http::Response<ureq::Body>, String), Failure> {
        let Witness { server, programme, .. } = self.asked;
        let address =
            format!("{}/api/v1/programmes/{programme}/{rest}", server.trim_end_matches('/'));
        let reply = self
            .agent
            .get(&address)
            .header("authorization", format!("Bearer {}", self.token))
            .call()
            .map_err(|error| unreachable(&address, &error))?;
        Ok((reply, address))
    }

    fn ask(&self, rest: &str) -> Result<String, Failure> {
        let (mut reply, address) = self.get(rest)?;
        let body = reply.body_mut().with_config().limit(LARGEST_ANSWER);
        body.read_to_string().map_err(|error| unreachable(&address, &error))
    }

    fn ask_json<T: DeserializeOwned>(&self, rest: &str) -> Result<T, Failure> {
        let (mut reply, address) = self.get(rest)?;
        read(&mut reply, &address)
    }
}

fn agent(authority: Option<&Path>) -> Result<ureq::Agent, Failure> {
    let mut tls = ureq::tls::TlsConfig::builder();
    if let Some(file) = authority {
        let certificate = ureq::tls::Certificate::from_pem(&fs::read(file)?).map_err(|error| {
            Failure::of_input(format!("rungbook: {} cannot be used: {error}", file.display()))
        })?;
        tls = tls.root_certs(ureq::tls::RootCerts::new_with_certs(&[certificate]));
    }
    Ok(ureq::Agent::config_builder().tls_config(tls.build()).max_redirects(0).build().new_agent())
}

fn read<T: DeserializeOwned>(
    reply: &mut ureq::http::Response<ureq::Body>,
    address: &str,
) -> Result<T, Failure> {
    let body = reply.body_mut().with_config().limit(LARGEST_ANSWER);
    body.read_json().map_err(|error| unreachable(address, &error))
}

fn unreachable(address: &str, error: &ureq::Error) -> Failure {
    Failure::of_work(format!(
        "rungbook: {address} did not answer as it should: {error}; look at address, handle, password and --authority, and whether the server runs"
    ))
}

fn read_if_there(path: &Path) -> Result<Option<String>, Failure> {
    match fs::read_to_string(path) {
        Ok(text) => Ok(Some(text)),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(Failure::of_work(format!("rungbook: {}: {error}", path.display()))),
    }
}

/// The file is there as a whole, or as it was.
fn write_whole(path: &Path, text: &str) -> std::io::Result<()> {
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    fs::write(&part, text)?;
    fs::File::open(&part)?.sync_all()?;
    fs::rename(&part, path)
}
