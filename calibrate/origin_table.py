"""How the origin of a calibration stands in its file."""

from calibrate.origin import Origin, Pair
from calibrate.toml_table import TomlTable


def read_origin(table: TomlTable, n_channels: int) -> Origin:
    """Read the `[origin]` table of a calibration with so many channels."""
    origin = Origin(
        shape=table.text("shape"),
        pairs=tuple(_read_pair(pair, n_channels) for pair in table.tables("pairs")),
        dark=table.rows("dark") if table.has("dark") else (),
        degrees_of_freedom=table.integer("degrees_of_freedom", 0),
        reduced_chi2=table.number("reduced_chi2") if table.has("reduced_chi2") else None,
        reasons=table.texts("reasons") if table.has("reasons") else (),
    )
    for row in origin.dark:
        if len(row) != n_channels:
            raise table.error("dark", f"{len(row)} levels for {n_channels} channels")
    table.close()
    return origin


def _read_pair(table: TomlTable, n_channels: int) -> Pair:
    pair = Pair(
        levels=table.numbers("levels"),
        uvi=table.number("uvi"),
        u_uvi=table.number("u_uvi"),
        temperature_c=table.number("temperature_c") if table.has("temperature_c") else None,
    )
    if len(pair.levels) != n_channels:
        raise table.error("levels", f"{len(pair.levels)} levels for {n_channels} channels")
    table.close()
    return pair


def origin_content(origin: Origin) -> dict[str, object]:
    """Return the content of the `[origin]` table."""
    content: dict[str, object] = {
        "shape": origin.shape,
        "degrees_of_freedom": origin.degrees_of_freedom,
    }
    if origin.reduced_chi2 is not None:
        content["reduced_chi2"] = origin.reduced_chi2
    if origin.reasons:
        content["reasons"] = list(origin.reasons)
    if origin.dark:
        content["dark"] = [list(row) for row in origin.dark]
    content["pairs"] = [_pair_content(pair) for pair in origin.pairs]
    return content


def _pair_content(pair: Pair) -> dict[str, object]:
    content: dict[str, object] = {"levels": list(pair.levels), "uvi": pair.uvi, "u_uvi": pair.u_uvi}
    if pair.temperature_c is not None:
        content["temperature_c"] = pair.temperature_c
    return content
