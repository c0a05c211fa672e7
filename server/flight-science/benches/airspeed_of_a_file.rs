//! Times the batch conversion of airspeeds on columns from a file, so that another program can hold its own time and
//! results against it: see `airspeed_against_numpy.py`.
//!
//! Run as `cargo bench -p flight-science --bench airspeed_of_a_file -- INPUT OUTPUT`. INPUT has three columns one after
//! another (calibrated airspeed in kt, pressure altitude in ft, air temperature in °C) as little-endian doubles; OUTPUT
//! gets true airspeed in kt, and the times of the repetitions in seconds are printed, one a line. Without arguments, as
//! when all benches are run, it does nothing.

#![allow(clippy::unwrap_used)]

use std::time::Instant;

use flight_science::airspeed::true_from_calibrated_batch;

const REPETITIONS: usize = 50;

fn main() {
    let arguments: Vec<String> =
        std::env::args().skip(1).filter(|argument| !argument.starts_with("--")).collect();
    let [input, output] = arguments.as_slice() else { return };
    let bytes = std::fs::read(input).unwrap();
    let figures: Vec<f64> =
        bytes.chunks_exact(8).map(|bytes| f64::from_le_bytes(bytes.try_into().unwrap())).collect();
    let rows = figures.len() / 3;
    let (cas_kt, rest) = figures.split_at(rows);
    let (altitude_ft, oat_c) = rest.split_at(rows);
    for _ in 0..REPETITIONS {
        let start = Instant::now();
        let tas_kt = true_from_calibrated_batch(cas_kt, altitude_ft, Some(oat_c)).unwrap();
        println!("{}", start.elapsed().as_secs_f64());
        std::hint::black_box(tas_kt);
    }
    let tas_kt = true_from_calibrated_batch(cas_kt, altitude_ft, Some(oat_c)).unwrap();
    let bytes: Vec<u8> = tas_kt.iter().flat_map(|figure| figure.to_le_bytes()).collect();
    std::fs::write(output, bytes).unwrap();
}
