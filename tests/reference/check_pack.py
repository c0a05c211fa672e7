"""Checks a pack of the demonstration as the README in it says, with the standard library alone.

    python check_pack.py --program PATH

Sums, leaves, root, proofs and recordings are computed with hashlib; signatures with OpenSSL's command, where there is one. Then
one letter of a record is altered, and each step that should find that has to.
"""

import argparse
import base64
import hashlib
import json
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile


def sha256(data):
    return hashlib.sha256(data).digest()


def root_over(leaves):
    """RFC 9162, section 2.1.1."""
    if len(leaves) == 1:
        return leaves[0]
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    return sha256(b"\x01" + root_over(leaves[:split]) + root_over(leaves[split:]))


def leads_to(leaf, number, size, proof):
    """The root that a proof leads to; none where it does not fit the size."""
    i, last, found = number - 1, size - 1, leaf
    for other in proof:
        if i % 2 or i == last:
            found = sha256(b"\x01" + other + found)
            while i % 2 == 0 and i:
                i, last = i // 2, last // 2
        else:
            found = sha256(b"\x01" + found + other)
        i, last = i // 2, last // 2
    return found if last == 0 else None


def check(folder):
    """What is wrong, by step of the README; empty where all is well."""
    wrong = []
    sums = dict(reversed(line.split("  ", 1)) for line in (folder / "SHA256SUMS").read_text().splitlines())
    files = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()} - {"SHA256SUMS"}
    if files != set(sums) or any(sha256((folder / name).read_bytes()).hex() != sums[name] for name in sums):
        wrong.append("sums")
    about = json.loads((folder / "pack.json").read_text())
    leaves = [bytes.fromhex(line) for line in (folder / "leaves.txt").read_text().split()]
    records = (folder / "records.jsonl").read_bytes().split(b"\n")[:-1]
    numbers = [json.loads(record)["seq"] for record in records]
    hashes = [sha256(b"\x00" + record) for record in records]
    if any(leaves[number - 1] != leaf for number, leaf in zip(numbers, hashes)):
        wrong.append("leaves")
    root = root_over(leaves)
    lines = (folder / "checkpoint.txt").read_text().splitlines()
    if root.hex() != about["root"] or base64.b64encode(root).decode() != lines[2] or int(lines[1]) != len(leaves):
        wrong.append("root")
    proofs = [json.loads(line) for line in (folder / "proofs.jsonl").read_text().splitlines()]
    names = {name for proof in proofs for name in proof}
    [listed] = [name for name in names if isinstance(proofs[0][name], list)]
    for number, leaf, proof in zip(numbers, hashes, proofs, strict=True):
        if proof["seq"] != number or leads_to(leaf, number, len(leaves), map(bytes.fromhex, proof[listed])) != root:
            wrong.append("proofs")
            break
    if any(sha256(path.read_bytes()).hex() != path.name for path in (folder / "recordings").glob("*")):
        wrong.append("recordings")
    if shutil.which("openssl"):
        keys = sorted((folder / "keys").glob("*.pem"), key=lambda path: int(path.stem))
        (folder / "signed").write_text("".join(f"{line}\n" for line in lines[:3]))
        (folder / "signature").write_bytes(base64.b64decode(lines[-1].split(" ")[2])[-64:])
        verify = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", keys[-1], "-rawin", "-in", folder / "signed"]
        if subprocess.run([*verify, "-sigfile", folder / "signature"], capture_output=True).returncode:
            wrong.append("signature")
        (folder / "signed").unlink()
        (folder / "signature").unlink()
    return wrong, len(records), len(list((folder / "recordings").glob("*")))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True, help="path of the program rungbook")
    program = parser.parse_args().program
    with tempfile.TemporaryDirectory() as place:
        place = pathlib.Path(place)
        words = [program, "demo", "--data", place / "data", "--listen", "127.0.0.1:0"]
        server = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        next(line for line in server.stdout if re.search(r"http://[0-9.:]*[0-9]", line))
        server.terminate()
        server.wait(60)
        pack = place / "pack.zip"
        packed = [program, "pack", pack, "--programme", "tallow", "--data", place / "data"]
        subprocess.run(packed, check=True, capture_output=True)
        with zipfile.ZipFile(pack) as file:
            assert file.testzip() is None
            file.extractall(place / "pack")
        wrong, records, recordings = check(place / "pack")
        assert not wrong, wrong
        path = place / "pack" / "records.jsonl"
        text = path.read_text()
        path.write_text(text.replace("Coolant", "Cooland", 1))
        found = check(place / "pack")[0]
        assert text != path.read_text() and found == ["sums", "leaves", "proofs"], found
    signed = "with its signature" if shutil.which("openssl") else "without its signature: there is no openssl"
    print(f"passed  {records} records and {recordings} files of a pack by the standard library, {signed}")
    print("\n1 passed, 0 failed")


if __name__ == "__main__":
    sys.exit(main())
