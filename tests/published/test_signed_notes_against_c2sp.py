"""Signed notes and heads of a ledger against values from outside.

Sources: the examples in C2SP signed-note v1.0.0 and tlog-checkpoint v1.0.0 (https://c2sp.org/signed-note,
https://c2sp.org/tlog-checkpoint, read in the public repository C2SP/C2SP). A second opinion on the signature:
the program `openssl`. Key and note of our own beside them are refused in every altered form.
"""

import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import given
from hypothesis import strategies as st

from webapp.domain.evidence.checkpoint import Checkpoint, CheckpointRefused, read_checkpoint
from webapp.proof.errors import NoteRefused
from webapp.proof.ledger.signed_note import NoteSigner, NoteVerifier, read_note, split_note

C2SP_KEY = "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k"
C2SP_NOTE = (
    "This is an example message.\n\n— example.com/foo "
    "Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=\n"
)
C2SP_HEAD = (
    "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n"
    "— example.com/behind-the-sofa "
    "Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n"
)
SIGNER = NoteSigner("example.org/ledger", Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
OWN_KEY = SIGNER.verifier.text
OWN_TEXT = "The vise stands square.\nIts jaw was touched twice.\n"
OWN_NOTE = SIGNER.sign(OWN_TEXT)
TAIL = OWN_NOTE[-6:-1]  # the last characters of the signature, in base64


def test_the_standards_example_reads_and_its_key_is_spelt_again() -> None:
    key = NoteVerifier.from_text(C2SP_KEY)
    assert key.text == C2SP_KEY
    assert read_note(C2SP_NOTE, [key]) == "This is an example message.\n"


def test_every_stretch_of_a_key_and_every_altered_character_is_refused() -> None:
    wrong = [OWN_KEY[i:j] for i in range(len(OWN_KEY)) for j in range(i + 1, len(OWN_KEY) + 1)]
    wrong.remove(OWN_KEY)
    wrong += [OWN_KEY[:i] + chr(ord(OWN_KEY[i]) + 1) + OWN_KEY[i + 1 :] for i in range(len(OWN_KEY))]
    for text in wrong:
        with pytest.raises(NoteRefused):
            NoteVerifier.from_text(text)


def test_signatures_of_strangers_are_passed_over_and_a_known_key_has_to_fit() -> None:
    own, other = (
        NoteVerifier.from_text(OWN_KEY),
        NoteSigner("example.org/other", Ed25519PrivateKey.generate()),
    )
    twice = OWN_NOTE + other.sign(OWN_TEXT).rpartition("\n\n")[2]
    assert read_note(twice, [own]) == read_note(twice, [other.verifier]) == OWN_TEXT
    with pytest.raises(NoteRefused) as caught:
        read_note(twice, [NoteVerifier.from_text(C2SP_KEY)])
    assert caught.value.code == "note.no_known_key"
    moved = twice.replace("square", "Square")
    with pytest.raises(NoteRefused) as caught:
        read_note(moved, [own])
    assert caught.value.code == "note.signature_wrong"


@pytest.mark.parametrize(
    "note",
    [
        "",
        "\n",
        OWN_NOTE[:-1],
        OWN_NOTE + "\n",
        OWN_NOTE.replace("\n\n", "\n"),
        OWN_NOTE.replace("—", "-"),
        OWN_NOTE.replace("— ", "—"),
        OWN_NOTE.replace("org/ledger ", "org+ledger "),
        OWN_NOTE.replace("org/ledger ", "org\N{NO-BREAK SPACE}ledger "),
        OWN_NOTE.replace("example.org/ledger ", " "),
        OWN_NOTE.replace("square", "square\t"),
        OWN_NOTE.replace("square", "square\0"),
        OWN_NOTE.replace(TAIL, TAIL[:-1]),
        OWN_NOTE.replace(TAIL, f"{TAIL[:-2]}{chr(ord(TAIL[-2]) + 1)}="),
        OWN_NOTE.replace(TAIL, f"{TAIL}\r"),
        OWN_TEXT + "\n" + "— example.org/ledger AAAAAAAA\n" * 101,
        "x" * 140_000 + "\n\n" + OWN_NOTE.rpartition("\n\n")[2],
        OWN_NOTE.replace("square", "squ\ud800re"),
    ],
)
def test_what_is_no_note_is_refused(note: str) -> None:
    with pytest.raises(NoteRefused) as caught:
        read_note(note, [NoteVerifier.from_text(OWN_KEY)])
    assert caught.value.code == "note.malformed"


def test_the_standards_head_reads_and_is_spelt_again() -> None:
    text, ((name, _, signature),) = split_note(C2SP_HEAD)
    head = read_checkpoint(text)
    assert (head.origin, head.size, len(bytes.fromhex(head.root))) == (name, 20852163, 32)
    assert head.text == text
    assert len(signature) == 64


@pytest.mark.parametrize(
    "text",
    [
        "log\n07\n{root}\n",
        "log\n-7\n{root}\n",
        "log\n+7\n{root}\n",
        "log\n٧\n{root}\n",
        "log\n\n{root}\n",
        "log\n7\n{root}",
        "log\n7\n{root}\nmore\n",
        "log\n7\n{root}\n\n",
        "\n7\n{root}\n",
        "log\n7\nAAAA\n",
        "log\n7\n{root}=\n",
        "log\n7\n\n",
        "log\n" + "7" * 19 + "\n{root}\n",
    ],
)
def test_what_is_no_head_is_refused(text: str) -> None:
    with pytest.raises(CheckpointRefused):
        read_checkpoint(text.replace("{root}", "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="))


@given(size=st.integers(0, 10**18 - 1), root=st.binary(min_size=32, max_size=32))
def test_every_head_reads_as_it_was_written(size: int, root: bytes) -> None:
    head = Checkpoint("example.org/ledger", size, root.hex())
    assert read_checkpoint(read_note(SIGNER.sign(head.text), [SIGNER.verifier])) == head


def test_openssl_finds_the_signature_of_our_notes_right_and_of_altered_ones_wrong(tmp_path: Path) -> None:
    signer = NoteSigner("example.org/ledger", Ed25519PrivateKey.generate())
    head = Checkpoint(signer.name, 5, "ab" * 32).text
    _, ((_, _, signature),) = split_note(signer.sign(head))
    pem = signer.key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    (tmp_path / "key.pem").write_bytes(pem)
    (tmp_path / "signature").write_bytes(signature)
    command = "openssl pkeyutl -verify -rawin -pubin -inkey key.pem -sigfile signature -in text"
    for text, status in ((head, 0), (head.replace("5", "6"), 1)):
        (tmp_path / "text").write_text(text)
        asked = subprocess.run(command.split(), cwd=tmp_path, capture_output=True, check=False)
        assert asked.returncode == status
