import json

from dawnproof.print_sizes import largest_prints, ordered_print
from dawnproof.report.documents import print_sizes_document
from dawnproof.report.prints import print_words


def test_print_sizes_in_words() -> None:
    # 7200 x 3600 px at 300 ppi is 24 x 12 inches, at 240 ppi 30 x 15 inches
    text = json.dumps(print_sizes_document(largest_prints(7200, 3600), ordered_print(7200, 3600, 914.4)))
    assert print_words(text) == (
        "prints up to 610 x 305 mm at 300 ppi, 762 x 381 mm at 240 ppi; the ordered 914 mm get 200 ppi"
    )


def test_nothing_kept_says_nothing() -> None:
    assert print_words("") == print_words("[]") == print_words("{}") == ""
