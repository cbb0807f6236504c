"""The invented room with its eight weeks, and what every chart has to keep to."""

from pathlib import Path

import numpy as np
import pytest

from baskline.charts.palette import DARK, LIGHT
from baskline.scenario import Scenario, build, give_past
from ingest.config import load_config
from ingest.store.store import Store
from tests.baskline.making import copied_once, made_once
from tests.baskline.pictures import ink, pixels


def past_room(factory: pytest.TempPathFactory) -> Scenario:
    """The room with its past in the store, one for each worker."""
    return build(copied_once(made_once(factory, "past", _past), factory.getbasetemp() / "past-room"))


def _past(folder: Path) -> None:
    scenario = build(folder)
    with Store.open(load_config(scenario.config_file).bridge.store) as store:
        give_past(store, scenario)


def keeps_to_its_sheet(spec_of, width_px: int, *, dark: bool) -> None:
    """Assert that a chart is as wide as asked for and that nothing of it runs out of the picture."""
    vl_convert = pytest.importorskip("vl_convert")
    spec = spec_of(total_width_px=width_px, dark=dark)
    assert spec["background"] == (DARK if dark else LIGHT).paper
    assert len(spec["description"]) > 40
    picture = pixels(vl_convert.vegalite_to_png(spec, scale=1))
    if dark:
        picture = 1 - np.where(picture < 0.13, 0.0, np.maximum(picture, 0.2))
    height, width = picture.shape
    left, right, top, bottom = ink(picture)
    assert width == width_px
    assert 4 <= left < right <= width - 4
    assert 4 <= top < bottom <= height - 4
    if not dark:  # once is enough
        assert spec_of(total_width_px=width_px, dark=dark) == spec
