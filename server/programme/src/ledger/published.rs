//! The published cases, and the properties that hold for every small tree.

#![allow(clippy::unwrap_used)]

use serde::Deserialize;

use super::*;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TreeCases {
    reference_leaves: Vec<String>,
    root: Vec<RootCase>,
    leaf: Vec<LeafCase>,
    inclusion: Vec<InclusionCase>,
    consistency: Vec<ConsistencyCase>,
    inclusion_check: Vec<InclusionCheck>,
    consistency_check: Vec<ConsistencyCheck>,
}

#[derive(Deserialize)]
struct RootCase {
    source: String,
    leaves: Vec<String>,
    root: NodeHash,
}

#[derive(Deserialize)]
struct LeafCase {
    source: String,
    leaf: String,
    hash: NodeHash,
}

#[derive(Deserialize)]
struct InclusionCase {
    source: String,
    index: u64,
    size: u64,
    proof: Vec<NodeHash>,
    root: NodeHash,
}

#[derive(Deserialize)]
struct ConsistencyCase {
    source: String,
    first_size: u64,
    second_size: u64,
    proof: Vec<NodeHash>,
    first_root: NodeHash,
    second_root: NodeHash,
}

#[derive(Deserialize)]
struct InclusionCheck {
    source: String,
    index: u64,
    size: u64,
    /// As text, because a published refusal gives one that is no hash at all.
    leaf: String,
    proof: Vec<NodeHash>,
    root: NodeHash,
    valid: bool,
}

#[derive(Deserialize)]
struct ConsistencyCheck {
    source: String,
    first_size: u64,
    second_size: u64,
    proof: Vec<NodeHash>,
    first_root: NodeHash,
    second_root: NodeHash,
    valid: bool,
}

#[derive(Deserialize)]
struct CanonicalCases {
    text: Vec<TextCase>,
    number: Vec<NumberCase>,
}

#[derive(Deserialize)]
struct TextCase {
    source: String,
    input: String,
    canonical: String,
    sha256: String,
}

#[derive(Deserialize)]
struct NumberCase {
    source: String,
    ieee754: String,
    json: String,
}

fn tree_cases() -> TreeCases {
    toml::from_str(include_str!("../../published/tree.toml")).unwrap()
}

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

fn whole(leaves: &[String]) -> WholeTree {
    leaves.iter().map(|leaf| leaf_hash(&bytes(leaf))).collect()
}

#[test]
fn the_root_over_published_leaves_is_the_published_root() {
    for case in tree_cases().root {
        let tree = whole(&case.leaves);
        let leaves: Vec<_> = case.leaves.iter().map(|leaf| leaf_hash(&bytes(leaf))).collect();
        assert_eq!(tree.root(), case.root, "{}", case.source);
        assert_eq!(root_of(&leaves), case.root, "{}", case.source);
    }
    for case in tree_cases().leaf {
        assert_eq!(leaf_hash(&bytes(&case.leaf)), case.hash, "{}", case.source);
    }
}

#[test]
fn inclusion_proofs_are_the_published_ones_and_verify() {
    let cases = tree_cases();
    let tree = whole(&cases.reference_leaves);
    for case in cases.inclusion {
        let proof = tree.inclusion_proof(case.index, case.size).unwrap();
        assert_eq!(proof, case.proof, "{}", case.source);
        assert_eq!(tree.root_at(case.size).unwrap(), case.root);
        let leaf = tree.leaf(case.index).unwrap();
        assert!(inclusion_holds(leaf, case.index, case.size, &proof, case.root));
    }
}

#[test]
fn consistency_proofs_are_the_published_ones_and_verify() {
    let cases = tree_cases();
    let tree = whole(&cases.reference_leaves);
    for case in cases.consistency {
        let proof = tree.consistency_proof(case.first_size, case.second_size).unwrap();
        assert_eq!(proof, case.proof, "{}", case.source);
        assert!(consistency_holds(
            case.first_size,
            case.second_size,
            &proof,
            case.first_root,
            case.second_root
        ));
    }
}

#[test]
fn published_good_proofs_are_taken_and_published_bad_ones_refused() {
    let cases = tree_cases();
    for case in cases.inclusion_check {
        let holds = case
            .leaf
            .parse()
            .is_ok_and(|leaf| inclusion_holds(leaf, case.index, case.size, &case.proof, case.root));
        assert_eq!(holds, case.valid, "{}", case.source);
    }
    for case in cases.consistency_check {
        let holds = consistency_holds(
            case.first_size,
            case.second_size,
            &case.proof,
            case.first_root,
            case.second_root,
        );
        assert_eq!(holds, case.valid, "{}", case.source);
    }
}

#[test]
fn canonical_json_is_as_published() {
    let cases: CanonicalCases =
        toml::from_str(include_str!("../../published/canonical_json.toml")).unwrap();
    for case in cases.text {
        let value: serde_json::Value = serde_json::from_str(&case.input).unwrap();
        let canonical = serde_json_canonicalizer::to_string(&value).unwrap();
        assert_eq!(canonical, case.canonical, "{}", case.source);
        assert_eq!(Digest::of(&value).unwrap().to_string(), case.sha256, "{}", case.source);
    }
    for case in cases.number {
        let number = f64::from_bits(u64::from_str_radix(&case.ieee754, 16).unwrap());
        let canonical = serde_json_canonicalizer::to_string(&number).unwrap();
        assert_eq!(canonical, case.json, "{}", case.source);
    }
    for no_number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(serde_json_canonicalizer::to_string(&no_number).is_err());
    }
}

const LARGEST: u64 = 64;

fn numbered(size: u64) -> WholeTree {
    (0..size).map(|number| leaf_hash(&number.to_be_bytes())).collect()
}

/// The hash with one bit turned, in each of its bytes in turn.
fn altered(hash: NodeHash) -> impl Iterator<Item = NodeHash> {
    (0..32).map(move |byte| {
        let mut bytes = *hash.bytes();
        bytes[byte] ^= 1 << (byte % 8);
        NodeHash::from_bytes(bytes)
    })
}

#[test]
fn the_growing_tree_and_the_whole_tree_have_the_same_root_at_every_size() {
    let whole = numbered(LARGEST);
    let mut growing = Tree::default();
    assert_eq!(growing.root(), whole.root_at(0).unwrap());
    for size in 1..=LARGEST {
        growing.push(whole.leaf(size - 1).unwrap());
        assert_eq!(growing.size(), size);
        assert_eq!(Some(growing.root()), whole.root_at(size));
        assert_eq!(growing.root(), numbered(size).root());
        assert_eq!(growing, numbered(size).edge());
    }
    assert_eq!(whole.root_at(LARGEST + 1), None);
}

#[test]
fn every_inclusion_proof_verifies_and_no_altered_one_does() {
    let tree = numbered(LARGEST);
    for size in 1..=LARGEST {
        let root = tree.root_at(size).unwrap();
        for index in 0..size {
            let leaf = tree.leaf(index).unwrap();
            let proof = tree.inclusion_proof(index, size).unwrap();
            assert!(inclusion_holds(leaf, index, size, &proof, root));

            for other in altered(root) {
                assert!(!inclusion_holds(leaf, index, size, &proof, other));
            }
            assert!(!inclusion_holds(altered(leaf).next().unwrap(), index, size, &proof, root));
            for part in 0..proof.len() {
                let mut bad = proof.clone();
                bad[part] = altered(bad[part]).nth(part % 32).unwrap();
                assert!(!inclusion_holds(leaf, index, size, &bad, root));
            }
            let mut long = proof.clone();
            long.push(root);
            assert!(!inclusion_holds(leaf, index, size, &long, root));
            if let Some((_, short)) = proof.split_last() {
                assert!(!inclusion_holds(leaf, index, size, short, root));
            }
            assert!(!inclusion_holds(
                leaf,
                (index + 1) % size,
                size + u64::from(size == 1),
                &proof,
                root
            ));
        }
        assert_eq!(tree.inclusion_proof(size, size), None);
    }
    assert_eq!(tree.inclusion_proof(0, LARGEST + 1), None);
}

#[test]
fn every_consistency_proof_verifies_and_no_altered_one_does() {
    let tree = numbered(LARGEST);
    for second in 0..=LARGEST {
        let second_root = tree.root_at(second).unwrap();
        for first in 0..=second {
            let first_root = tree.root_at(first).unwrap();
            let proof = tree.consistency_proof(first, second).unwrap();
            let holds = |proof: &[NodeHash], a, b| consistency_holds(first, second, proof, a, b);
            assert!(holds(&proof, first_root, second_root), "{first} to {second}");

            for other in altered(first_root) {
                assert!(!holds(&proof, other, second_root));
            }
            if first != 0 {
                for other in altered(second_root) {
                    assert!(!holds(&proof, first_root, other));
                }
            }
            for part in 0..proof.len() {
                let mut bad = proof.clone();
                bad[part] = altered(bad[part]).nth(part % 32).unwrap();
                assert!(!holds(&bad, first_root, second_root));
            }
            let mut long = proof.clone();
            long.push(second_root);
            assert!(!holds(&long, first_root, second_root));
            if first != second && first != 0 {
                assert!(!holds(&[], first_root, second_root));
                assert!(!consistency_holds(second, first, &proof, second_root, first_root));
            }
        }
        assert_eq!(tree.consistency_proof(second + 1, second), None);
    }
}

#[test]
fn every_pair_of_sizes_up_to_256_is_consistent() {
    let tree = numbered(256);
    for second in 0..=256 {
        let second_root = tree.root_at(second).unwrap();
        for first in 0..=second {
            let proof = tree.consistency_proof(first, second).unwrap();
            let first_root = tree.root_at(first).unwrap();
            assert!(consistency_holds(first, second, &proof, first_root, second_root));
        }
    }
}

#[test]
fn not_one_bit_of_a_proof_can_be_turned() {
    let tree = numbered(24);
    let turned = |proof: &[NodeHash], bit: usize| {
        let mut proof = proof.to_vec();
        let mut bytes = *proof[bit / 256].bytes();
        bytes[bit % 256 / 8] ^= 1 << (bit % 8);
        proof[bit / 256] = NodeHash::from_bytes(bytes);
        proof
    };
    for second in 2..=24 {
        let second_root = tree.root_at(second).unwrap();
        for first in 1..second {
            let first_root = tree.root_at(first).unwrap();
            let proof = tree.consistency_proof(first, second).unwrap();
            for bit in 0..256 * proof.len() {
                let bad = turned(&proof, bit);
                assert!(!consistency_holds(first, second, &bad, first_root, second_root));
            }
            let leaf = tree.leaf(first).unwrap();
            let proof = tree.inclusion_proof(first, second).unwrap();
            for bit in 0..256 * proof.len() {
                let bad = turned(&proof, bit);
                assert!(!inclusion_holds(leaf, first, second, &bad, second_root));
            }
        }
    }
}
