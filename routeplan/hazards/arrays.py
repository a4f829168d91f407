"""What the kernels see: a site and a machine as plain arrays, in site metres and radians."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Bits = NDArray[np.uint16]
Records = NDArray[np.void]

# Index of each check of the catalogue in the margins that the kernels return.
LEVELS, GRADE, SIDE_SLOPE, COMBINED, STRIKE, BOUNCE, HEAD, OVERHEAD = range(8)
CLEARANCE, STEP, ACCEPTANCE, COVERS, EXCAVATION, LINES, CLOSED, WALKWAY = range(8, 16)
UNDER_LINE, KERB_ANGLE, KERB_SIDE = range(16, 19)
KINDS = 19
#: Where, behind the margins by kind, those of what is overhead stand less the k sigma of what hangs there.
HEAD_PROVEN, OVERHEAD_PROVEN, UNDER_LINE_PROVEN = range(KINDS, KINDS + 3)

# Kinds of edge in the vector layers, and of bit in the masks (1 << kind).
E_OBSTACLE, E_BOUNDARY, E_LINES, E_CLOSED, E_WALKWAY, E_UNACCEPTED, E_COVER, E_EXCAVATION, E_FOOTPRINT = range(9)
# A footprint is an obstacle as the wheels meet it: a body may pass over a low one, a wheel never stands on it.
#: Edges of a kind up to this one concern the body, the others the wheels.
LAST_BODY_EDGE = E_WALKWAY

#: What a closer look looks at: the middle of each stretch, too kind by itself; the edges of its tube too; all of it.
MIDDLE, EDGES, ALL = range(3)
#: Bits of ``World.calm``: no pose from a block, and no motion from it, needs a closer look at the ground or at soffits.
CALM_POSE, CALM_MOTION = 1, 2


# Records rather than a raster for each field: one look-up fetches all of a place, and every array that a kernel is
# handed costs time when it is compiled and each time that it is called.
#: What is known of a node of the fields.
NODE = np.dtype(
    [
        ("level", np.float64),
        ("gx", np.float64),
        ("gy", np.float64),
        ("under", np.float32),  # highest ground above the local plane within reach of an underside point, m
        ("defect", np.float32),  # largest defect within 3 m, m
        ("deviation", np.float32),  # largest |real - clean| under a wheel in the tube, m
        ("raised", np.float32),  # highest raised feature a wheel meets in the tube, m
        ("kerb", np.float32),  # highest raised feature in any raster cell that the node is a corner of, m
        ("soffit_far", np.float32),  # distance to the nearest soffit or line that is passed under, m, rounded down
        ("body_far", np.float32),  # distance to the nearest edge that concerns the body, m, rounded down
        ("wheel_far", np.float32),  # the same for the wheels
        ("inside", np.uint16),  # bits of what the node stands in
        ("soffit", np.float64),  # lowest soffit within reach of a top point, m; inf where there is none
        ("soffit_proven", np.float64),  # the same less k sigma of the soffit; -inf where nobody measured one
        ("line", np.float64),  # lowest line less its safety distance within reach of a top point, m; or inf
        ("line_proven", np.float64),  # the same less k sigma of the line; -inf where nobody measured one
    ],
    align=True,
)
#: The wheel levels about a node in one sector of headings, against the local plane, m; NaN where a level is unknown.
SPAN = np.dtype([("low", np.float32), ("high", np.float32)])
#: What is known of a block of nodes, see ``blocks.Blocks``.
BLOCK = np.dtype(
    [
        ("level", np.float64),  # of the block's plane at its middle node, m
        ("east", np.float64),  # gradient of that plane
        ("north", np.float64),
        ("hump", np.float64),  # highest ground above that plane within the machine's reach, m; NaN if unknown
        ("ceiling", np.float64),  # lowest soffit less k sigma over that plane within reach, m; inf if none
        ("lean", np.float64),  # largest slope of a calm stance near the block
        ("calm", np.uint8),  # bits, see ``CALM_POSE``
    ],
    align=True,
)


def records_of(kind: np.dtype[np.void], **fields: NDArray[Any]) -> Records:
    """Fields of one shape, place by place."""
    records = np.empty(np.broadcast_shapes(*(field.shape for field in fields.values())), kind)
    for name, field in fields.items():
        records[name] = field
    return records


class World(NamedTuple):
    """Fields of a site as one machine meets it; all rasters ``(row, col)``, row 0 in the south, node spacing ``cell``.

    The ground near a node lies within ``level + gradient . offset + [low, high]``: for any heading within half a sector
    of the sector's axis, and any place of the wheel within the tube, the wheel level keeps to that span.
    """

    x0: float
    y0: float
    cell: float
    nodes: Records  # (row, col) of NODE
    spans: Records  # (sector, row, col) of SPAN
    block: int  # nodes along a block's side
    blocks: Records  # (block row, block col) of BLOCK
    levels: Floats  # (2, row, col): the levels, and clean ground
    features: Floats  # (n, 8) of holes, raised ones: bounds W S E N, size, 1 for a hole, first of outlines and last + 1
    soffits: Floats  # (n, 8) alike, size and hole 0
    outlines: Floats  # (n, 4) edges of features and soffits: x0, y0, x1, y1
    # Whether what a stance cannot pass is looked at closer (``closer.look_closer``), else None: kernels are compiled
    # apart for both, as most sites never need the longer ones.
    closer: bool | None
    open_m: float  # edges farther than this, and the lean of tops, from the start of a motion do not concern it
    edges: Floats  # (n, 6): x0, y0, x1, y1, extra distance wanted, top level (inf if unknown)
    edge_kind: Bytes
    bucket_start: Ints  # CSR over buckets: the edges that may concern a motion whose middle lies in the bucket
    bucket_edges: Ints
    bucket_cols: int
    bucket_rows: int
    bucket_m: float
    piece_m: float  # longest piece whose edges its bucket holds, m
    lean_m: float  # farthest lean of a top for which it holds them, m


class Body(np.record):  # type: ignore[misc]  # numpy says how to subclass it, its stubs call it final
    """A machine in one configuration and travel mode.

    A record rather than a tuple of arrays: kernels hand it on as one address, which is quicker to compile and to run.
    Arrays have room for more rows than there are; ``n_boxes`` and the like count those that hold something.
    """

    wheel_xi: Floats  # (4,) FL FR RL RR
    wheel_eta: Floats
    wheelbase: float
    track: float
    oscillating: float  # 0 none, 1 the front axle, 2 the rear axle
    stop_tan: float
    limit_up: float  # largest slope (tan) with the chassis arrow uphill
    limit_down: float
    limit_side: float
    n_boxes: int
    n_tops: int
    n_lids: int
    n_discs: int
    n_undersides: int
    n_basket: int
    n_corners: int
    boxes: Floats  # (n, 7): xi0, xi1, eta0, eta1, bottom, top, occupied
    # (n, 8): xi, eta, zeta, lever of the front axle, of the rear axle, gap wanted, 1 for the head, number of the lid
    tops: Floats
    # (n, 6) tops as wholes, of each box and of the head: xi0, xi1, eta0, eta1, zeta, how near in plan a soffit counts
    lids: Floats
    discs: Floats  # (n, 4): xi, eta, radius, gap wanted with the tube; they cover the boxes
    undersides: Floats  # (n, 3): xi, eta, zeta
    basket: Floats  # (n, 4): xi, eta, lever of the front axle, of the rear axle
    corners: Floats  # (n, 7) of boxes and head: xi, eta, bottom, top, levers of both axles, gap wanted above
    hull: Floats  # (4,) xi0, xi1, eta0, eta1 around boxes and wheels
    reach: float  # farthest corner from the origin, m
    half_track: float  # half the length of a track on the ground, m; 0 on wheels
    wheel_gap: float  # half the tyre's width and the tube's sideways reach at the wheels, m
    tyre_half: float  # half the tyre's width, m
    radius: float  # of the wheels, m
    structure_gap: float
    body_gap: float  # for an occupied box; equal to structure_gap when nobody rides
    underside_gap: float
    bounce_limit: float
    amplification: float  # tip participation times two
    step_limit: float
    kerb_angle: float  # farthest from square-on that an edge of what is raised is met, degrees
    kerb_side: float  # largest side slope on which it is, degrees
    lateral: float
    sin_heading: float
    tallest: float
    proven: Floats  # (KINDS,) margin from which a check is proven: k sigma

    def rows(self, name: str) -> Floats:
        """The rows of a table that hold something."""
        table: Floats = self[name][: self["n_" + name]]
        return table


class Scratch(NamedTuple):
    """Room for the kernels to work in, one for each thread."""

    out: Floats  # (ground.OUT,)
    margins: Floats  # (3, ground.OUT), see ``tubes.WHOLE``
    bottoms: Floats  # (3, boxes)
    leans: Floats  # (3, 4), see ``ground.leans_to``
    beside: Floats  # (2, ground.OUT), of a stretch as if on the level and as the ground has it
    spans: Floats  # (4, 6), see ``tubes.stand_closer``
    tubes: Floats  # (n, 6) parts of a tube still to be looked at
    parts: Floats  # (n, 2) stretches of a piece still to be looked at
    found: Ints
    look: int  # how much a closer look looks at: ``MIDDLE``, ``EDGES`` or ``ALL``
