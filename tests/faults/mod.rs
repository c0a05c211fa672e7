//! What the program does when the machine under it fails: the clock, the database, the disk, the network
//! between.

mod clock;
mod database;
mod disk;
mod network;
