"""Write small FIT files for the tests: messages field by field, with every oddity that devices show."""

from __future__ import annotations

import struct

EPOCH_S = 631065600

FILE_ID, SESSION, RECORD, EVENT, DEVICE, INTERVALS, RATES = 0, 18, 20, 21, 23, 78, 132
U8, U16, U32, BYTES, ENUM = 0x02, 0x84, 0x86, 0x0D, 0x00


def checksum(data: bytes) -> int:
    """CRC-16 as the format asks for it, bit by bit (independent of the reader's table)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc


class FitFile:
    """Collects messages; `bytes()` gives one FIT file."""

    def __init__(self, *, big: bool = False, header: int = 14):
        self.order, self.header = (">" if big else "<"), header
        self.body = bytearray()
        self.fields: dict[int, list] = {}

    def define(self, local: int, kind: int, fields: list[tuple[int, int, int]], developer: list | None = None):
        """Fields are (number, size, base type); developer fields (number, size, index)."""
        head = 0x40 | local | (0x20 if developer else 0)
        self.body += struct.pack("BBB", head, 0, 1 if self.order == ">" else 0)
        self.body += struct.pack(self.order + "H", kind) + bytes([len(fields)])
        for number, size, base in fields:
            self.body += bytes([number, size, base])
        if developer:
            self.body += bytes([len(developer)])
            for number, size, index in developer:
                self.body += bytes([number, size, index])
        self.fields[local] = [*fields, *[(n, s, BYTES) for n, s, _ in developer or []]]

    def write(self, local: int, *values, compressed: int | None = None):
        """One message; `compressed` is the time offset of a compressed header."""
        head = local if compressed is None else 0x80 | local << 5 | compressed
        self.body += bytes([head])
        for (_, size, base), value in zip(self.fields[local], values, strict=True):
            if isinstance(value, bytes | bytearray):
                self.body += bytes(value).ljust(size, b"\xff")[:size]
            elif isinstance(value, list | tuple):
                width = 2 if base == U16 else 4 if base == U32 else 1
                padded = [*value, *[(1 << 8 * width) - 1] * (size // width - len(value))]
                self.body += struct.pack(f"{self.order}{len(padded)}{'BHI'[width // 2]}", *padded)
            else:
                self.body += struct.pack(self.order + {1: "B", 2: "H", 4: "I"}[size], value)

    def bytes(self, *, size: int | None = None, good_checksum: bool = True) -> bytes:
        length = len(self.body) if size is None else size
        head = struct.pack("<BBHI4s", self.header, 0x20, 2140, length, b".FIT")
        if self.header == 14:
            head += struct.pack("<H", checksum(head))
        data = head + bytes(self.body)
        return data + struct.pack("<H", checksum(data) ^ (0 if good_checksum else 0x0101))


def simple_fit(rates, *, start: int = 1_100_000_000, step: int = 1, **options) -> FitFile:
    """A file of records with a time stamp and a heart rate each (255 where there is none)."""
    fit = FitFile(**options)
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)])
    for i, rate in enumerate(rates):
        fit.write(0, start + i * step, rate)
    return fit
