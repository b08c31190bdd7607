import base64

from dawnproof.report.pictures import Album, data_uri


def test_the_kind_is_read_from_the_bytes() -> None:
    picture = b"\x89PNG\r\n"
    assert data_uri(picture) == f"data:image/png;base64,{base64.b64encode(picture).decode()}"
    assert data_uri(b"\xff\xd8\xff").startswith("data:image/jpeg;base64,")


def test_a_full_page_takes_no_more() -> None:
    album = Album({"a": b"x" * 600, "b": b"y" * 600, "c": b"z" * 60}, most_bytes=1000)
    assert album.picture("a") is not None
    assert album.picture("b") is None
    assert album.picture("c") is not None
    assert album.picture("none") is None
    assert album.data(b"") is None


def test_a_picture_too_large_for_its_place_is_left_out() -> None:
    album = Album({"a": b"x" * 600})
    assert album.picture("a", 500) is None
    assert album.picture("a", 600) is not None
