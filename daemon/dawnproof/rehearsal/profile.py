"""The invented scanner's colour profile, made of published numbers: primaries of IEC 61966-2-5 (opRGB), D65 adapted to
D50 by the Bradford matrix, a pure power curve; layout by ICC.1:2001-04 (version 2)."""

from __future__ import annotations

import struct

import numpy as np
import numpy.typing as npt

DESCRIPTION = "Saltmarsh Lane bed, wide gamut"
_PRIMARIES_XY = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
_D65_XYZ = (0.95047, 1.0, 1.08883)
_D50_XYZ = (0.9642, 1.0, 0.8249)
_BRADFORD = ((0.8951, 0.2664, -0.1614), (-0.7502, 1.7135, 0.0367), (0.0389, -0.0685, 1.0296))
_GAMMA_U8F8 = 563  # 563 / 256 = 2.19921875

Matrix = npt.NDArray[np.float64]


def scanner_profile() -> bytes:
    """A matrix and curve profile of class 'scnr' for three channels, ready to embed."""
    columns = _rgb_to_d50()
    tags = {
        b"desc": _text_description(DESCRIPTION),
        b"cprt": b"text\0\0\0\0No rights reserved\0",
        b"wtpt": _xyz(np.array(_D50_XYZ)),
        b"rXYZ": _xyz(columns[:, 0]),
        b"gXYZ": _xyz(columns[:, 1]),
        b"bXYZ": _xyz(columns[:, 2]),
        b"rTRC": _curve(),
        b"gTRC": _curve(),
        b"bTRC": _curve(),
    }
    return _assembled(tags)


def _rgb_to_d50() -> Matrix:
    """Columns: D50 XYZ of full red, green and blue."""
    unscaled = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in _PRIMARIES_XY]).T
    rgb = unscaled * np.linalg.solve(unscaled, np.array(_D65_XYZ))
    cone = np.array(_BRADFORD)
    adapt = np.diag((cone @ np.array(_D50_XYZ)) / (cone @ np.array(_D65_XYZ)))
    return np.asarray(np.linalg.inv(cone) @ adapt @ cone @ rgb, dtype=np.float64)


def _assembled(tags: dict[bytes, bytes]) -> bytes:
    table, body = struct.pack(">I", len(tags)), b""
    first = 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        table += name + struct.pack(">II", first + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    size = first + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x02400000, b"scnr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2027, 1, 4, 9, 0, 0) + b"acsp" + b"\0" * 28 + _header_white()
    return header.ljust(128, b"\0") + table + body


def _header_white() -> bytes:
    return b"".join(_s15f16(value) for value in _D50_XYZ)


def _xyz(value: Matrix) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(_s15f16(float(v)) for v in value)


def _s15f16(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _curve() -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IHxx", 1, _GAMMA_U8F8)


def _text_description(text: str) -> bytes:
    ascii_text = text.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(ascii_text)) + ascii_text + b"\0" * (4 + 4 + 2 + 1 + 67)
