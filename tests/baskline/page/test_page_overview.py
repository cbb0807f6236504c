from tests.baskline.page.rooms import PageRoom


def test_the_overview_is_whole_without_a_script(room: PageRoom, visit) -> None:
    text = visit(room).get("/").text
    assert "1 spot needs you now: Fern crown" in text
    for label in ("Slate ledge", "Fern crown", "Moss pad", "Cork bark", "Cave mouth"):
        assert label in text
