//! Checking a proof needs the proof and the roots alone, no ledger and no trust in who sent it.

use super::{NodeHash, empty_root, node_hash};

/// Whether the leaf, counted from 0, stands in the tree of that size and root.
///
/// # Source
///
/// RFC 9162 section 2.1.3.2; `fn` and `sn` there are `node` and `last` here.
pub fn inclusion_holds(
    leaf: NodeHash,
    index: u64,
    size: u64,
    proof: &[NodeHash],
    root: NodeHash,
) -> bool {
    if index >= size {
        return false;
    }
    let (mut node, mut last) = (index, size - 1);
    let mut hash = leaf;
    for sibling in proof {
        if last == 0 {
            return false;
        }
        if node & 1 == 1 || node == last {
            hash = node_hash(sibling, &hash);
            climb_past_missing_siblings(&mut node, &mut last);
        } else {
            hash = node_hash(&hash, sibling);
        }
        node >>= 1;
        last >>= 1;
    }
    last == 0 && hash == root
}

/// Whether the tree of the second size and root grew from that of the first by adding leaves only.
///
/// # Source
///
/// RFC 9162 section 2.1.4.2. A first size of 0, which the RFC leaves out, holds with the empty root and an empty proof.
pub fn consistency_holds(
    first_size: u64,
    second_size: u64,
    proof: &[NodeHash],
    first_root: NodeHash,
    second_root: NodeHash,
) -> bool {
    if first_size > second_size {
        return false;
    }
    if first_size == second_size {
        return proof.is_empty() && first_root == second_root;
    }
    if first_size == 0 {
        return proof.is_empty() && first_root == empty_root();
    }
    let known = first_size.is_power_of_two().then_some(first_root);
    let mut path = known.iter().chain(proof);
    let Some(start) = path.next() else {
        return false;
    };
    let (mut node, mut last) = (first_size - 1, second_size - 1);
    while node & 1 == 1 {
        node >>= 1;
        last >>= 1;
    }
    let (mut first, mut second) = (*start, *start);
    for sibling in path {
        if last == 0 {
            return false;
        }
        if node & 1 == 1 || node == last {
            first = node_hash(sibling, &first);
            second = node_hash(sibling, &second);
            climb_past_missing_siblings(&mut node, &mut last);
        } else {
            second = node_hash(&second, sibling);
        }
        node >>= 1;
        last >>= 1;
    }
    last == 0 && first == first_root && second == second_root
}

/// On the right edge a node without a sibling is carried up unchanged.
fn climb_past_missing_siblings(node: &mut u64, last: &mut u64) {
    while *node & 1 == 0 && *node != 0 {
        *node >>= 1;
        *last >>= 1;
    }
}
