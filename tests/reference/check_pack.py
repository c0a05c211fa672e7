"""Checks a pack of the demonstration as the README in it says, without the program that made it.

    python check_pack.py --program PATH

Sums, leaves, root, proofs and recordings are computed with hashlib; signatures with OpenSSL's command, where there is one; the shape
of each record with jsonschema, by the schemas in the pack. Then one letter of a record is altered, and each step that should find
that has to. The document in it is read with pypdf: its pages, and what each has to say.
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

import jsonschema
import pypdf


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


def check_shapes(folder):
    """What is wrong with the shapes of records; and that a record of another shape is told apart."""
    records = [json.loads(line) for line in (folder / "records.jsonl").read_bytes().split(b"\n")[:-1]]
    of = {}
    for record in records:
        of.setdefault((record["kind"], record["version"]), []).append(record)
    names = {path.name for path in (folder / "schemas").iterdir()}
    assert names == {f"{kind}-v{version}.json" for kind, version in of}, names
    wrong = []
    for (kind, version), some in of.items():
        schema = json.loads((folder / "schemas" / f"{kind}-v{version}.json").read_text())
        jsonschema.Draft202012Validator.check_schema(schema)
        validator = jsonschema.Draft202012Validator(schema)
        for record in some:
            wrong += [f"{kind} {record['seq']}: {fault.message}" for fault in validator.iter_errors(record)]
        for altered in ({**some[0], "seq": "first"}, {**some[0], "colour": "red"}, {**some[0], "body": {"colour": "red"}}):
            assert not validator.is_valid(altered), f"{kind}: {altered}"
    return wrong, len(names)


def check_document(folder):
    """Reads the document back: every page names itself, the ledger and its root, and the cautions stand in it."""
    about = json.loads((folder / "pack.json").read_text())
    reader = pypdf.PdfReader(folder / "document.pdf")
    pages = [page.extract_text() for page in reader.pages]
    for number, page in enumerate(pages, 1):
        joined = re.sub(r"\s+", "", page)
        for has in (f"page {number} of {len(pages)}", str(about["size"]), about["root"]):
            assert re.sub(r"\s+", "", has) in joined, f"page {number} lacks {has}: {page}"
    whole = " ".join(" ".join(pages).split())
    cautions = ("clears nobody to fly", "High-voltage direct current kills", "licensed inspectors", "pilot in command", "How to check this document")
    for has in cautions:
        assert has in whole, f"the document lacks: {has}"
    assert reader.metadata.title and reader.trailer["/Root"].get("/Lang"), "it has a title and a language"
    assert "\ufffd" not in whole, "every sign can be read"
    return len(pages)


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
        wrong, schemas = check_shapes(place / "pack")
        assert not wrong, "\n".join(wrong[:20])
        pages = check_document(place / "pack")
        path = place / "pack" / "records.jsonl"
        text = path.read_text()
        path.write_text(text.replace("Coolant", "Cooland", 1))
        found = check(place / "pack")[0]
        assert text != path.read_text() and found == ["sums", "leaves", "proofs"], found
    signed = "with its signature" if shutil.which("openssl") else "without its signature: there is no openssl"
    print(f"passed  {records} records and {recordings} files of a pack by the standard library, {signed}")
    print(f"passed  every record by the {schemas} schemas of the pack; {pages} pages of its document say what they are of")
    print("\n2 passed, 0 failed")


if __name__ == "__main__":
    sys.exit(main())
