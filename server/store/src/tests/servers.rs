//! Several servers on one PostgreSQL database.

use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};
use std::time::Duration;

use programme::refusal::Refusal;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::timeout;
use uuid::Uuid;

use super::database::Database;
use super::*;

/// How long another server may take to hear of something.
const SOON: Duration = Duration::from_secs(3);

/// A club whose ledger a second server has open, with a folder of its own.
struct Two {
    club: Club,
    second: Store,
    second_at: Whereabouts,
}

impl Two {
    async fn servers() -> Option<Self> {
        let club = Club::begun(Some(Database::or_say_why_not().await?)).await;
        let data = club.directory.path().join("second");
        let second_at = Whereabouts { data, ..club.whereabouts.clone() };
        let second = Store::open_at(&second_at).await.unwrap();
        Some(Self { club, second, second_at })
    }

    fn first(&self) -> &Store {
        &self.club.store
    }

    async fn end(self) {
        self.second.close().await;
        self.club.store.close().await;
        let verdict = self.club.verdict().await;
        assert!(verdict.first_failure.is_none(), "{:?}", verdict.first_failure);
    }
}

async fn comes_true(what: impl Fn() -> bool) {
    let looking = async {
        while !what() {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    };
    timeout(SOON, looking).await.expect("it came true soon");
}

fn stand_down_once(state: &State) -> Result<Vec<Draft>, Refusal> {
    if state.length() > 1 { Err(refusal()) } else { Ok(vec![stand_down("smoke")]) }
}

#[tokio::test]
async fn what_one_server_writes_another_sees_and_tells_those_who_listen() {
    let Some(two) = Two::servers().await else { return };
    assert!(two.second.copy_of(&tug()).is_none(), "a new folder that joins is no copy");
    let mut hears = two.second.subscribe();
    two.first().act(act(|_| Ok(vec![remark("seen")]))).await.unwrap();
    let news = timeout(SOON, hears.recv()).await.unwrap().unwrap();
    assert_eq!(news, News { programme: tug(), seq: 2 });
    assert_eq!(two.second.tree(&tug()), two.first().tree(&tug()));
    assert_eq!(two.second.read(&tug(), |state, _| state.weather.len()), Some(1));
    // And a programme that is begun.
    let mut other = act(|_| Ok(vec![]));
    other.programme = ProgrammeId::new("glider").unwrap();
    two.second.found("Glider".to_owned(), other).await.unwrap();
    comes_true(|| two.first().programmes().len() == 2).await;
    let mut again = act(|_| Ok(vec![]));
    again.programme = ProgrammeId::new("glider").unwrap();
    let refused = two.first().found("Glider".to_owned(), again).await;
    assert!(matches!(refused, Err(ActError::ProgrammeExists(_))));
    two.end().await;
}

#[tokio::test]
async fn what_may_be_done_once_is_done_once_though_both_are_asked_at_the_same_moment() {
    let Some(two) = Two::servers().await else { return };
    let asked: Vec<_> = (0..16)
        .map(|number| {
            let store = if number % 2 == 0 { two.first().clone() } else { two.second.clone() };
            tokio::spawn(async move { store.act(act(stand_down_once)).await })
        })
        .collect();
    let mut done = 0;
    for one in asked {
        match one.await.unwrap() {
            Ok(_) => done += 1,
            Err(ActError::Refused(_)) => {}
            Err(other) => panic!("{other:?}"),
        }
    }
    assert_eq!(done, 1);
    two.end().await;
}

#[tokio::test]
async fn records_of_two_servers_that_write_at_once_follow_one_another() {
    let Some(two) = Two::servers().await else { return };
    let writers: Vec<_> = (0..8)
        .map(|writer| {
            let store = if writer % 2 == 0 { two.first().clone() } else { two.second.clone() };
            tokio::spawn(async move {
                let mut seqs = Vec::new();
                for number in 0..20 {
                    let decide = move |_: &State| Ok(vec![remark(&format!("{writer}-{number}"))]);
                    seqs.push(store.act(act(decide)).await.unwrap().entries[0].seq);
                }
                seqs
            })
        })
        .collect();
    let mut seqs = Vec::new();
    for writer in writers {
        seqs.extend(writer.await.unwrap());
    }
    seqs.sort_unstable();
    assert_eq!(seqs, (2..=161).collect::<Vec<_>>());
    comes_true(|| two.second.tree(&tug()) == two.first().tree(&tug())).await;
    two.end().await;
}

#[tokio::test]
async fn the_same_key_at_both_has_a_thing_done_once_and_another_request_with_it_is_refused() {
    let Some(two) = Two::servers().await else { return };
    let keyed = |request: u8, programme: &ProgrammeId| {
        let mut act = act(|_| Ok(vec![stand_down("smoke")]));
        act.programme = programme.clone();
        act.idempotency = Some(Idempotency { key: "k".to_owned(), request_digest: [request; 32] });
        act
    };
    let (first, second) =
        tokio::join!(two.first().act(keyed(1, &tug())), two.second.act(keyed(1, &tug())));
    let (first, second) = (first.unwrap(), second.unwrap());
    assert_eq!(first.reply, second.reply);
    assert_ne!(first.replayed, second.replayed);
    let other = ProgrammeId::new("glider").unwrap();
    let mut founding = act(|_| Ok(vec![]));
    founding.programme = other.clone();
    two.second.found("Glider".to_owned(), founding).await.unwrap();
    let refused = two.second.act(keyed(2, &other)).await;
    assert!(matches!(refused, Err(ActError::KeyReused(_))), "{refused:?}");
    two.end().await;
}

#[tokio::test]
async fn sign_ins_accounts_and_secrets_are_the_same_at_both_and_a_token_is_exchanged_once() {
    let Some(two) = Two::servers().await else { return };
    let account = |handle: &str| NewAccount {
        handle: PersonHandle::new(handle).unwrap(),
        name: handle.to_uppercase(),
        password_hash: "hash".to_owned(),
        pin_hash: None,
        administrator: true,
    };
    let made = tokio::join!(
        two.first().create_account(account("ada"), noon(), None),
        two.second.create_account(account("ada"), noon(), None)
    );
    assert!(matches!(
        made,
        (Ok(_), Err(AccountError::Exists(_))) | (Err(AccountError::Exists(_)), Ok(_))
    ));
    let secrets = tokio::join!(
        two.first().secret("token-key", noon()),
        two.second.secret("token-key", noon())
    );
    assert_eq!(secrets.0.unwrap(), secrets.1.unwrap());

    let id = Uuid::now_v7();
    let (at, expires_at) = (noon(), minutes_after_noon(600));
    let begun = NewSession { id, handle: ada(), token_hash: [1; 32], at, expires_at };
    two.first().begin_session(begun).await.unwrap();
    let signed_in = |store: &Store| store.signed_in(&ada(), id, minutes_after_noon(1)).is_ok();
    comes_true(|| signed_in(&two.second)).await;
    let rotation = |next: u8| Rotation {
        given_hash: [1; 32],
        next_hash: [next; 32],
        at: minutes_after_noon(2),
        expires_at,
    };
    // Of two who give the same token at once, one has a copy: the session is over for both.
    let exchanged = tokio::join!(two.first().rotate(rotation(2)), two.second.rotate(rotation(3)));
    assert!(matches!(
        exchanged,
        (Ok(_), Err(RotateError::Reused { .. })) | (Err(RotateError::Reused { .. }), Ok(_))
    ));
    comes_true(|| !signed_in(two.first()) && !signed_in(&two.second)).await;
    two.second.disable_account(&PersonHandle::new("ada").unwrap(), noon()).await.unwrap_err();
    two.first().create_account(account("bea"), noon(), None).await.unwrap();
    two.second.disable_account(&ada(), noon()).await.unwrap();
    comes_true(|| two.first().account(&ada()).unwrap().disabled_at.is_some()).await;
    // The last who can manage is the last, whichever server is asked.
    let last = two.first().disable_account(&PersonHandle::new("bea").unwrap(), noon()).await;
    assert!(matches!(last, Err(AccountError::LastAdministrator(_))));
    two.end().await;
}

#[tokio::test]
async fn a_key_that_one_server_changes_signs_at_the_other_as_well() {
    let Some(two) = Two::servers().await else { return };
    let changed = two.first().change_key(&ada(), Utc::now(), "Once a year.").await.unwrap();
    two.second.act(act(|_| Ok(vec![remark("signed anew")]))).await.unwrap();
    let last = two.second.checkpoint(&tug(), None).await.unwrap().unwrap();
    assert_eq!((last.signed.checkpoint.size, last.key.key()), (3, *changed.key.bytes()));
    two.end().await;
}

#[tokio::test]
async fn a_connection_that_the_database_ends_is_made_anew() {
    let Some(two) = Two::servers().await else { return };
    let mut acknowledged = 0;
    for number in 0..12 {
        let store = if number % 2 == 0 { two.first() } else { &two.second };
        // Where it is cut in the middle nothing is written, and that is said.
        match store.act(act(move |_| Ok(vec![remark(&number.to_string())]))).await {
            Ok(_) => acknowledged += 1,
            Err(ActError::NotWritten(WriteError::Unreachable(_))) => {}
            Err(other) => panic!("{other:?}"),
        }
        let database = two.club.database.as_ref().unwrap();
        database
            .runs(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity
                 WHERE datname = current_database() AND pid <> pg_backend_pid()",
            )
            .await
            .unwrap();
    }
    assert!(acknowledged > 3, "most are not cut in the middle: {acknowledged}");
    let all = 1 + acknowledged;
    comes_true(|| two.first().health().writes() && two.first().tree(&tug()).unwrap().size == all)
        .await;
    comes_true(|| two.second.health().writes() && two.second.tree(&tug()).unwrap().size == all)
        .await;
    two.second.act(act(|_| Ok(vec![remark("on")]))).await.unwrap();
    two.end().await;
}

#[tokio::test]
async fn a_folder_that_saw_more_than_there_is_tells_of_a_copy_to_all_servers() {
    let Some(two) = Two::servers().await else { return };
    two.first().act(act(|_| Ok(vec![remark("lost later")]))).await.unwrap();
    comes_true(|| two.second.tree(&tug()).unwrap().size == 2).await;
    two.club
        .tamper(
            "SET session_replication_role = replica;
             ALTER TABLE ledger DISABLE TRIGGER ALL; ALTER TABLE checkpoint DISABLE TRIGGER ALL;
             ALTER TABLE checkpoint_signature DISABLE TRIGGER ALL;
             DELETE FROM checkpoint_signature WHERE size = 2; DELETE FROM checkpoint WHERE size = 2;
             DELETE FROM ledger WHERE seq = 2;
             ALTER TABLE ledger ENABLE TRIGGER ALL; ALTER TABLE checkpoint ENABLE TRIGGER ALL;
             ALTER TABLE checkpoint_signature ENABLE TRIGGER ALL;",
        )
        .await
        .unwrap();
    // Who has it in memory writes no more, and goes on reading.
    let refused = two.first().act(act(|_| Ok(vec![remark("mine")]))).await;
    assert!(matches!(refused, Err(ActError::NotWritten(WriteError::Stopped(_)))), "{refused:?}");
    assert_eq!(two.club.length(), 2);
    two.second.close().await;
    let club = two.club.reopened().await;
    assert_eq!(
        club.store.copy_of(&tug()).map(|copy| (copy.records, copy.known)),
        Some((1, Some(2)))
    );
    // A server that has seen nothing learns of it from the database.
    let data = club.directory.path().join("third");
    let third = Store::open_at(&Whereabouts { data, ..club.whereabouts.clone() }).await.unwrap();
    assert!(third.copy_of(&tug()).is_some());
    third.close().await;
    // A folder is of one database.
    let Some(other) = Database::or_say_why_not().await else { return };
    let elsewhere =
        Whereabouts { database: Some(other.url()), data: two.second_at.data, recordings: None };
    let refused = Store::open_at(&elsewhere).await.unwrap_err();
    assert!(matches!(refused, OpenError::OtherFolder { .. }), "{refused:?}");
    club.store.close().await;
}

/// What stands between a server and the database.
const PASSES: u8 = 0;
/// The commit does not arrive, and the connection is cut.
const CUTS_BEFORE: u8 = 1;
/// The commit arrives, and the connection is cut before the answer.
const CUTS_AFTER: u8 = 2;
/// Nothing goes through.
const SHUT: u8 = 3;

struct Wire {
    does: Arc<AtomicU8>,
    port: u16,
}

impl Wire {
    async fn to(server: &str) -> Self {
        let address = server.rsplit_once('@').unwrap().1.split('/').next().unwrap().to_owned();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let does = Arc::new(AtomicU8::new(PASSES));
        let told = Arc::clone(&does);
        std::thread::spawn(move || {
            let listener = listener.into_std().unwrap();
            let runtime =
                tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(async move {
                let listener = TcpListener::from_std(listener).unwrap();
                while let Ok((client, _)) = listener.accept().await {
                    if told.load(Ordering::SeqCst) != SHUT {
                        let server = TcpStream::connect(&address).await.unwrap();
                        tokio::spawn(pass_on(client, server, Arc::clone(&told)));
                    }
                }
            });
        });
        Self { does, port }
    }
}

async fn pass_on(mut client: TcpStream, mut server: TcpStream, does: Arc<AtomicU8>) {
    let (mut there, mut back) = ([0; 16384], [0; 16384]);
    loop {
        tokio::select! {
            read = client.read(&mut there) => {
                let Ok(bytes @ 1..) = read else { return };
                let commits = there[..bytes].windows(7).any(|some| some == b"COMMIT\0");
                match does.load(Ordering::SeqCst) {
                    CUTS_BEFORE if commits => {
                        does.store(PASSES, Ordering::SeqCst);
                        return;
                    }
                    CUTS_AFTER if commits => {
                        does.store(PASSES, Ordering::SeqCst);
                        // What the server has by then it carries out, though nobody hears of it.
                        let _ = server.write_all(&there[..bytes]).await;
                        let _ = server.read(&mut back).await;
                        return;
                    }
                    SHUT => return,
                    _ => {}
                }
                if server.write_all(&there[..bytes]).await.is_err() { return }
            }
            read = server.read(&mut back) => {
                let Ok(bytes @ 1..) = read else { return };
                if client.write_all(&back[..bytes]).await.is_err() { return }
            }
        }
    }
}

#[tokio::test]
async fn a_commit_that_was_not_answered_is_looked_up_before_anybody_is_answered() {
    let Some(database) = Database::or_say_why_not().await else { return };
    let server = std::env::var(super::database::SERVER).unwrap();
    if server.contains("host=/") || !server.contains('@') {
        println!("the server is not spoken to over TCP, so this was not tried");
        return;
    }
    let wire = Wire::to(&server).await;
    let club = Club::begun(Some(database)).await;
    let direct = club.database.as_ref().unwrap().url();
    let name = direct.options().get_database().unwrap().to_owned();
    let user = direct.options().get_username().to_owned();
    let url = format!("postgres://{user}@127.0.0.1:{}/{name}?sslmode=disable", wire.port);
    let data = club.directory.path().join("wired");
    let wired = Whereabouts { data, database: Some(url.parse().unwrap()), recordings: None };
    let store = Store::open_at(&wired).await.unwrap();
    let keyed = |text: &'static str| {
        let mut act = act(move |_| Ok(vec![remark(text)]));
        act.idempotency = Some(Idempotency { key: text.to_owned(), request_digest: [1; 32] });
        act
    };
    store.act(keyed("whole")).await.unwrap();

    wire.does.store(CUTS_AFTER, Ordering::SeqCst);
    let acted = store.act(keyed("cut after")).await.unwrap();
    assert_eq!(acted.entries[0].seq, 3, "it stands, so it is a success");
    wire.does.store(CUTS_BEFORE, Ordering::SeqCst);
    let refused = store.act(keyed("cut before")).await;
    assert!(
        matches!(refused, Err(ActError::NotWritten(WriteError::Unreachable(_)))),
        "it does not stand, and that is said: {refused:?}"
    );
    let again = store.act(keyed("cut before")).await.unwrap();
    assert_eq!((again.entries[0].seq, again.replayed), (4, false));

    wire.does.store(SHUT, Ordering::SeqCst);
    let refused = store.act(keyed("shut")).await;
    assert!(
        matches!(refused, Err(ActError::NotWritten(WriteError::Unreachable(_)))),
        "{refused:?}"
    );
    assert!(matches!(store.health(), Health::Unreachable(_)));
    assert_eq!(store.read(&tug(), |state, _| state.length()), Some(4), "reading goes on");
    club.store.act(act(|_| Ok(vec![remark("meanwhile")]))).await.unwrap();
    wire.does.store(PASSES, Ordering::SeqCst);
    let back = async {
        while !store.health().writes() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    timeout(Duration::from_secs(15), back).await.expect("it connects again by itself");
    assert_eq!(store.read(&tug(), |state, _| state.length()), Some(5));
    store.act(keyed("shut")).await.unwrap();
    store.close().await;
    club.store.close().await;
    let verdict = club.verdict().await;
    assert!(verdict.first_failure.is_none(), "{:?}", verdict.first_failure);
}
