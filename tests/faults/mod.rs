//! What the program does when the machine under it fails: the disk, the network between.

mod disk;
mod network;
