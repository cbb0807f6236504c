"""The CRC of the wire format, against the public catalogue of CRC algorithms."""

from binascii import crc_hqx

import pytest

from firmware_host.wire import encode_hello_request


def crc_by_definition(data: bytes) -> int:
    """Width 16, polynomial 0x1021, initial value 0xFFFF, nothing reflected, nothing added at the end."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1
            crc &= 0xFFFF
    return crc


# Catalogue of parametrised CRC algorithms with 16 bits, entry CRC-16/IBM-3740, alias CRC-16/CCITT-FALSE,
# https://reveng.sourceforge.io/crc-catalogue/16.htm: its check value and its code words (message and CRC).
CHECK_MESSAGE = b"123456789"
CHECK_VALUE = 0x29B1
CODE_WORDS = [
    "00000000 84C0",
    "F20183 D374",
    "0FAA0055 2023",
    "00FF5511 B8F9",
    "332255AABBCCDDEEFF F53F",
    "926B55 0745",
    "FFFFFFFF 1D0F",
]


def test_the_check_value_of_the_catalogue() -> None:
    assert crc_hqx(CHECK_MESSAGE, 0xFFFF) == CHECK_VALUE
    assert crc_by_definition(CHECK_MESSAGE) == CHECK_VALUE


@pytest.mark.parametrize("code_word", CODE_WORDS)
def test_the_code_words_of_the_catalogue(code_word: str) -> None:
    message, crc = (bytes.fromhex(part) for part in code_word.split())
    assert crc_hqx(message, 0xFFFF) == int.from_bytes(crc, "big")
    assert crc_by_definition(message) == int.from_bytes(crc, "big")


def test_a_line_carries_this_crc() -> None:
    body, _, crc = encode_hello_request().rstrip(b"\n").rpartition(b" ~")
    assert int(crc, 16) == crc_by_definition(body)


def test_what_the_wire_format_says_of_damage_follows_from_the_polynomial() -> None:
    # Two wrong bits at a distance of n are missed only where the polynomial divides x^n + 1; the first such n
    # is far beyond the 4,096 bits of a line.  A polynomial with an even number of terms is divisible by
    # x + 1, so that any odd number of wrong bits is caught.
    # From memory: W. W. Peterson and D. T. Brown 1961, Proc. IRE 49, 228-235.
    polynomial = 0x11021
    power, n = 2, 1
    while power != 1:
        power <<= 1
        if power & 0x10000:
            power ^= polynomial
        n += 1
    assert n == 2**15 - 1
    assert polynomial.bit_count() % 2 == 0
