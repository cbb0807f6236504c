"""The keeper's own rows of the species table, and the band of a spot whose keeper named only the animal."""

from collections.abc import Iterator, Mapping
from typing import Annotated

from pydantic import Field

from calibrate.errors import KeeperError
from exposure.species import Species, SpeciesError, clear_species, with_own_rows
from ingest.config.fields import Text, TextList
from ingest.config.places import BandConfig
from ingest.config.table import Table, key


class SpeciesConfig(Table):
    """`[species.<key>]`: a row of the keeper's own in the table of species."""

    name: Text = key("the scientific name", '"Pogona vitticeps"')
    zone: Annotated[int, Field(ge=1, le=4)] | None = key("the zone that it is put in", "3", None)
    own_band: BandConfig | None = key(
        "a band of its own", "{ low_uvi = 1.0, high_uvi = 2.6, ceiling_uvi = 4.0 }", None, alias="band"
    )
    source: Text = key("who says so", '"my own dragons, ten years"')
    common: TextList = key("its common names", '["bearded dragon"]', ())
    synonyms: TextList = key("its other scientific names", '["Amphibolurus vitticeps"]', ())
    note: Text | None = key("anything else about it", '"basks until noon"', None)

    def species(self) -> Species:
        """Return it as a row of the table."""
        return Species(
            name=self.name,
            zones=() if self.zone is None else (self.zone,),
            source=self.source,
            common=self.common,
            synonyms=self.synonyms,
            own_band=None if self.own_band is None else self.own_band.band(),
            note=self.note or "",
        )


def species_for_spot(kind: object, species: object, own: Mapping[str, object]) -> Species:
    """Return the row that gives a spot its band, where its keeper gave neither zone nor band.

    `kind` and `species` are those of the spot and its enclosure as the file has them, `own` the tables
    `[species.<key>]`.  `SpeciesError` where the row leaves a choice: nothing is guessed.
    """
    if not isinstance(species, str):
        raise SpeciesError("its enclosure names no species", where="species")
    if kind != "basking":
        raise SpeciesError("a species' zone is where it basks, and this is a retreat", where="species")
    return clear_species(species, with_own_rows(list(_usable(own))))


def _usable(own: Mapping[str, object]) -> Iterator[Species]:
    """Yield the rows that can be used; what is wrong with the others is said of them."""
    for row in own.values():
        if isinstance(row, SpeciesConfig):
            yield row.species()
            continue
        try:
            yield SpeciesConfig.model_validate(row).species()
        except (ValueError, KeeperError):
            continue
