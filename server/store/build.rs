//! Builds again when a migration is added, since they are part of the program.

fn main() {
    println!("cargo:rerun-if-changed=../../migrations/sqlite");
    println!("cargo:rerun-if-changed=../../migrations/postgres");
}
