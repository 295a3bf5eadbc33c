"""Which terms each deployment curve has. The fit fills in the coefficients."""

from squibwise.numerics.curves import Struck, Term

SIDES: tuple[Struck, ...] = ("front", "near", "far", "rear")
_SIDE: tuple[Struck, ...] = ("near", "far")
_FRONT: tuple[Struck, ...] = ("front",)
_REAR: tuple[Struck, ...] = ("rear",)

# Driver's (or right-front occupant's) frontal bag. Forward delta-V acts most below 12 km/h.
FRONTAL = (
    Term(of="constant", sides=_FRONT),
    Term(of="constant", sides=("near",)),
    Term(of="constant", sides=("far",)),
    Term(of="constant", sides=_REAR),
    Term(of="forward", sides=_FRONT, high=12.0, per=10.0),
    Term(of="forward", sides=_FRONT, high=60.0, per=10.0),
    Term(of="lateral", sides=_FRONT, high=40.0, per=10.0),
    Term(of="forward", sides=_SIDE, high=12.0, per=10.0),
    Term(of="forward", sides=_SIDE, high=60.0, per=10.0),
    Term(of="lateral", sides=_SIDE, high=60.0, per=10.0),
    Term(of="rearward", sides=_REAR, high=60.0, per=10.0),
    # Few rows are newer than 2008: the trend is not carried on beyond it.
    Term(of="year", sides=_FRONT, low=2000.0, high=2008.0, centre=2006.0, per=5.0),
    Term(of="belted", sides=_FRONT, centre=0.9),
    Term(of="belted", sides=_SIDE, centre=0.9),
)

# Right-front frontal bag over an occupied seat: does it follow the driver's.
PASSENGER = (
    Term(of="constant", given=0),
    Term(of="constant", given=1),
    *(Term(of="constant", sides=(side,), given=0) for side in SIDES),
    *(Term(of="constant", sides=(side,), given=1) for side in SIDES),
)

# Side, curtain and knee bags of one seat, taken together, given that seat's front bag.
OWN_SIDE = (
    Term(of="constant"),
    Term(of="constant", sides=("near",)),
    Term(of="constant", sides=("far",)),
    Term(of="constant", sides=_REAR),
    Term(of="constant", sides=_FRONT, given=1),
    Term(of="constant", sides=_SIDE, given=1),
    Term(of="constant", sides=_REAR, given=1),
    Term(of="total", high=60.0, per=10.0),
    Term(of="year", sides=_FRONT, low=2005.0, high=2018.0, centre=2010.0, per=5.0),
    Term(of="year", sides=_SIDE, low=2005.0, high=2018.0, centre=2010.0, per=5.0),
)
