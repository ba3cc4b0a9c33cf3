"""The chain's hash against FIPS 180-4, and the checkpoint's two ways."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.core.chain import GENESIS, Checkpoint, line_hash, parse_checkpoint

HASHES = st.text("0123456789abcdef", min_size=64, max_size=64)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        # FIPS 180-4: the example values that NIST publishes for SHA-256.
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_the_hash_of_a_line_is_sha_256(line: bytes, expected: str) -> None:
    assert line_hash(line) == expected


def test_the_first_line_carries_as_many_digits_as_any_hash() -> None:
    assert len(GENESIS) == len(line_hash(b""))
    assert set(GENESIS) == {"0"}


@given(length=st.integers(min_value=0), last=HASHES)
def test_a_checkpoint_reads_back_as_it_was_printed(length: int, last: str) -> None:
    checkpoint = Checkpoint(length=length, last=last)
    assert parse_checkpoint(str(checkpoint)) == checkpoint
    assert parse_checkpoint(f" {checkpoint}\n") == checkpoint


@pytest.mark.parametrize(
    "text",
    [
        "",
        "12",
        "12:",
        f"12:{GENESIS[1:]}",
        f"12:{GENESIS}0",
        f"12:{GENESIS[1:]}g",
        f"12:{'A' * 64}",
        f"-1:{GENESIS}",
        f"1.5:{GENESIS}",
        f":{GENESIS}",
        GENESIS,
        f"12 {GENESIS}",
    ],
)
def test_anything_else_is_refused_with_its_cure(text: str) -> None:
    with pytest.raises(ValueError, match="is not a checkpoint: give the number") as refused:
        parse_checkpoint(text)
    assert repr(text) in str(refused.value)
    assert "voicecheck verify" in str(refused.value)


def test_the_short_code_is_base_32_of_the_first_forty_bits() -> None:
    # RFC 4648 section 10: BASE32("fooba") = "MZXW6YTB".
    last = b"fooba".hex() + "0" * 54
    checkpoint = Checkpoint(length=7, last=last)
    assert checkpoint.code == "7-MZXW-6YTB"
    assert parse_checkpoint("7-mzxw-6ytb") == Checkpoint(length=7, last=b"fooba".hex())


def test_the_long_code_has_twice_as_many_bits() -> None:
    # The same vector twice: base 32 turns every five bytes into eight letters of their own.
    checkpoint = Checkpoint(length=7, last=b"foobafooba".hex() + "0" * 44)
    assert checkpoint.long_code == "7-MZXW-6YTB-MZXW-6YTB"
    read = parse_checkpoint("7-mzxw-6ytb-mzxw-6ytb")
    assert read == Checkpoint(length=7, last=b"foobafooba".hex())
    assert checkpoint.like(read) == checkpoint.long_code
    with pytest.raises(ValueError, match="is not a checkpoint"):
        parse_checkpoint("7-mzxw-6ytb-mzxw")


def test_endless_digits_are_no_checkpoint() -> None:
    with pytest.raises(ValueError, match="is not a checkpoint: give the number") as refused:
        parse_checkpoint("9" * 10_000 + ":" + "0" * 64)
    assert len(str(refused.value)) < 400
