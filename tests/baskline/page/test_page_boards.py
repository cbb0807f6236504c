"""Boards on the page: who speaks, who is silent, and what was lost."""

from tests.baskline.page.rooms import PageRoom


def test_boards_that_speak_and_one_that_is_silent(room: PageRoom, visit) -> None:
    room.pass_s(300, silent=("fern",))
    text = visit(room).get("/boards").text
    fern = text.partition("Board at Fern crown")[2].partition("</section>")[0]
    ledge = text.partition("Board at Slate ledge")[2].partition("</section>")[0]
    assert "Silent since 14:02" in fern
    assert "its cable and its power" in fern
    assert "Connected and speaking" in ledge
    for words in ("/dev/ttyACM5", "test-1", "guva-s12sd", "each 2 s", "12 min while its cable is out"):
        assert words in ledge, words
    assert "0 readings since it started" in ledge
    assert "has started once since" in " ".join(ledge.split())
    assert 'href="/spots/ledge"' in ledge


def test_readings_that_never_came_are_counted(room: PageRoom, visit) -> None:
    room.skip("ledge", 3)
    room.pass_s(10)
    text = visit(room).get("/boards").text
    assert (
        "3 readings since it started" in text.partition("Board at Slate ledge")[2].partition("</section>")[0]
    )


def test_a_sensor_that_cannot_be_used_says_what_to_do(room: PageRoom, visit) -> None:
    room.introduce("moss", sensor="veml6075-missing")
    assert "veml6075 does not answer. Unplug the board" in visit(room).get("/boards").text


def test_where_nobody_watches_no_board_is_said_to_speak(room: PageRoom, visit) -> None:
    room.stop_watching()
    text = visit(room).get("/boards").text
    assert "Nobody is watching" in text
    assert "Connected and speaking" not in text
