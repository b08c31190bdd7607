"""A few words in large letters, three terminal rows high, to be read from the scanner."""

from __future__ import annotations

ROWS = 3

# five rows of dots a letter; two dots share one character cell, one above the other
_LETTERS: dict[str, tuple[str, ...]] = {
    "A": (".##.", "#..#", "####", "#..#", "#..#"),
    "E": ("###", "#..", "##.", "#..", "###"),
    "F": ("###", "#..", "##.", "#..", "#.."),
    "I": ("#", "#", "#", "#", "#"),
    "K": ("#..#", "#.#.", "##..", "#.#.", "#..#"),
    "L": ("#..", "#..", "#..", "#..", "###"),
    "O": (".##.", "#..#", "#..#", "#..#", ".##."),
    "T": ("###", ".#.", ".#.", ".#.", ".#."),
    "V": ("#...#", "#...#", ".#.#.", ".#.#.", "..#.."),
    "W": ("#...#", "#...#", "#.#.#", "##.##", "#...#"),
    " ": ("..", "..", "..", "..", ".."),
}
_CELLS = {("#", "#"): "█", ("#", "."): "▀", (".", "#"): "▄", (".", "."): " "}


def large(word: str) -> tuple[str, ...]:
    """Three lines of equal width; a letter that is not drawn is left out."""
    letters = [_LETTERS[letter] for letter in word.upper() if letter in _LETTERS]
    dots = [" ".join(letter[row] for letter in letters).replace(" ", ".") for row in range(5)]
    dots.append("." * len(dots[0]) if dots else "")
    return tuple(
        "".join(_CELLS[pair] for pair in zip(dots[row], dots[row + 1], strict=True)) for row in range(0, 2 * ROWS, 2)
    )
