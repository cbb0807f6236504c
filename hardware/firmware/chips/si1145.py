"""SI1145: known only to be refused."""

TABLE = {
    "name": "si1145",
    "addresses": (0x60,),
    "big_endian": False,
    "identity": ((0x00, 1, 0xFF, 0x45),),
    "refused": "it sees no UV: it infers it from visible and infrared light, as if all light were sunlight",
}
