"""All kinds of finding in one table: code, severity and the sentence with its figures.

`sentence` says how the templates are written. But for its first part, a part of a sentence is left
out where the finding lacks a figure of it.
"""

from __future__ import annotations

from rubbing2pattern.findings.codes import Code, Severity
from rubbing2pattern.findings.sentences import Sentences

_NOTE, _CHECK, _WRONG = Severity.NOTE, Severity.CHECK, Severity.WRONG


class Kind(Sentences):
    """A sentence that a finding may say; several kinds may share a code."""

    # fmt: off
    # The picture and its scale

    FIRST_PAGE_ONLY = (
        Code.FIRST_PAGE_ONLY, _NOTE,
        "{file} has {pages:0} pages; only the first was read.",
    )
    DATA_LEFT_OVER = (
        Code.DAMAGED_FILE, _CHECK,
        "{file} may be damaged: behind the data of its last pixels lie others that belong to no "
        "pixel; compare it with another copy, or copy it again from the camera or scanner.",
    )
    LAST_BITS_UNUSED = (
        Code.DAMAGED_FILE, _NOTE,
        "{file} may be damaged: the last bits of its data seem to belong to no pixel; of whole "
        "files one in 200 looks so; compare it with another copy if you have one.",
    )
    BRIGHTNESS_JUMPS = (
        Code.DAMAGED_FILE, _CHECK,
        "{file} may be damaged: at row {row:0} of its pixels the brightness jumps by about "
        "{step_levels:0} of 255 grey levels, all at once and across the whole picture; compare it "
        "with another copy, or copy it again from the camera or scanner.",
    )
    TABLE_STRANGE = (
        Code.DAMAGED_FILE, _CHECK,
        "{file} may be damaged: the table by which its brightness is unpacked is a usual one but "
        "for an entry or two; compare it with another copy, or copy it again from the camera or "
        "scanner.",
    )
    PART_CHECKSUM = (
        Code.DAMAGED_FILE, _NOTE,
        "{file} may be damaged: its part {part} does not match its checksum, but all pixels do.",
    )
    END_MARK_MISSING = (
        Code.DAMAGED_FILE, _CHECK,
        "{file} may be damaged: its end mark is missing; copy it again from the camera or scanner.",
    )
    STRIPS_UNEVEN = (
        Code.DAMAGED_FILE, _CHECK,
        "{file} may be damaged: {strips:0} of its {all_strips:0} strips of pixels do not unpack "
        "as they should; compare it with another copy, or copy it again from the camera or "
        "scanner.",
    )
    DECODER_COMPLAINS = (
        Code.DAMAGED_FILE, _CHECK,
        "{file} may be damaged: its decoder says “{complaint}”; compare it with another copy, or "
        "copy it again from the camera or scanner.",
    )
    FILE_NOT_CHECKED = (
        Code.DAMAGED_FILE, _NOTE,
        "{file} may be damaged: it is of a rare form of JPEG, whose data cannot be checked; look "
        "at the overlay, or save it anew as PNG or TIFF.",
    )
    LOW_RESOLUTION = (
        Code.LOW_RESOLUTION, _CHECK,
        "The picture has {seen_px_per_mm:1}; with less than {least_px_per_mm:1} widths are "
        "uncertain; go closer or scan finer.",
    )
    SCALE_UNCERTAIN = (
        Code.SCALE_UNCERTAIN, _CHECK,
        "All lengths are uncertain by {uncertain_share:2}, {uncertain_mm:1} over the "
        "{length_mm:0} of the panel; measure one length on the panel.",
    )
    LENGTHS_UNCERTAIN = (
        Code.SCALE_UNCERTAIN, _CHECK,
        "Lengths are uncertain by {uncertain_share:2} (one standard deviation), that is "
        "{uncertain_mm:1} over {length_mm:0}; measure a known length on the pattern.",
    )
    RESOLUTION_DISAGREES = (
        Code.SCALE_UNCERTAIN, _CHECK,
        "The file itself says {stated} dpi, but --dpi {given} was given; measure a known "
        "length on the pattern.",
    )
    EDGES_OUT_OF_TRUE = (
        Code.SCALE_UNCERTAIN, _CHECK,
        "The sheet's edges are",
        " bent as by a lens (k1 {k1:+3})",
        " out of square by {off_share:1}",
        ": this is not a flat scan, or the sheet is not square; use --sheet, --marks or --targets "
        "if it is a photograph.",
    )
    NEARLY_SQUARE = (
        Code.SCALE_UNCERTAIN, _CHECK,
        "The sheet is nearly square and seen at a slant: its sides may be exchanged; measure a "
        "known length both ways on the pattern, or use --marks.",
    )
    NO_CAMERA = (
        Code.REFERENCE_RESIDUAL, _CHECK,
        "The perspective found is not one that a camera makes, by {misfit_share:1}: a size given "
        "with the {reference} is wrong, or the picture was cut.",
    )
    OUT_OF_SQUARE = (
        Code.REFERENCE_RESIDUAL, _NOTE,
        "By the {reference} the sheet is out of square by {off_mm:1}: it was cut so, or one of "
        "them was measured wrongly; measure a known length on the pattern.",
    )
    TARGETS_UNSEEN = (
        Code.REFERENCE_RESIDUAL, _NOTE,
        "Of the targets listed, {targets} cannot be seen in the picture.",
    )
    MARK_LEFT_OUT = (
        Code.REFERENCE_RESIDUAL, _CHECK,
        "{mark} is {off_mm:1} from where the others put it and was left out.",
    )
    MARK_OFF = (
        Code.REFERENCE_RESIDUAL, _CHECK,
        "{mark} of the reference lies {off_mm:1} off the fit and was used; measure it again.",
    )
    MARK_OFF_UNUSED = (
        Code.REFERENCE_RESIDUAL, _CHECK,
        "{mark} of the reference lies {off_mm:1} off the fit and was not used; measure it again.",
    )
    SHEET_EDGE_UNCLEAR = (
        Code.SHEET_EDGE_UNCLEAR, _CHECK,
        "The sheet's {side} edge was found along {seen_share:0} of its length only; measure a "
        "known length near it on the pattern.",
    )
    SHEET_EDGE_BOWS = (
        Code.SHEET_NOT_FLAT, _CHECK,
        "The sheet's {side} edge bows by {bow_mm:1} (limit {limit_mm:1}): the sheet was not flat, "
        "or its edge is not straight; measure a known length near it on the pattern.",
    )
    MARKS_UNEVEN = (
        Code.SHEET_NOT_FLAT, _CHECK,
        "The {places:0} places measured disagree by up to {off_mm:1}, most at {mark}: the sheet is "
        "not flat there, or a place was measured wrongly; all are used; measure a known length "
        "near it on the pattern.",
    )
    JOINED_DOWN = (
        Code.SHEETS_JOINED, _CHECK,
        "The sheet was joined in a line from top to bottom, and the leads jog there: the {side} "
        "part was moved by {moved_mm:1}",
        " and turned by {turned_deg:2}",
        "; how wide the join gapes the leads hardly show (to {unsure_mm:1})",
        "; measure one length across the join on the panel.",
    )
    JOINED_ACROSS = (
        Code.SHEETS_JOINED, _CHECK,
        "The sheet was joined in a line from side to side, and the leads jog there: the {side} "
        "part was moved by {moved_mm:1}",
        " and turned by {turned_deg:2}",
        "; how wide the join gapes the leads hardly show (to {unsure_mm:1})",
        "; measure one length across the join on the panel.",
    )
    SIDES_OFF_AXES = (
        Code.NOT_LEVELLED, _NOTE,
        "The panel is drawn as it lay on the sheet: its sides lie {off_deg:1} off the axes and a "
        "panel is turned by {most_deg:1} at most.",
    )
    SIDES_NEAR_NO_AXIS = (
        Code.NOT_LEVELLED, _NOTE,
        "The panel is drawn as it lay on the sheet: none of its straight border sides lies near "
        "an axis of the sheet.",
    )
    NO_STRAIGHT_SIDE = (
        Code.NOT_LEVELLED, _NOTE,
        "The panel is drawn as it lay on the sheet: its border has no straight side.",
    )
    SIDE_NOT_STATED = (
        Code.SIDE_NOT_STATED, _CHECK,
        "It is not stated on which side of the window the paper lay, so the pattern may be the "
        "mirror image of what is meant; look at the window and state the side: --seen-from inside "
        "or --seen-from outside when tracing, or [[seen_from]] in a file of corrections.",
    )

    # Leads that may be there or not

    FAINT_REGION = (
        Code.FAINT_REGION, _CHECK,
        "The rubbing is faint here: leads show {shown_share:0} of the strength usual in this "
        "panel; look at each of them.",
    )
    BORDER_CUT_OFF = (
        Code.BORDER_CUT_OFF, _WRONG,
        "The panel reaches the {side} edge of the {seen}; what lies beyond is missing: show the "
        "whole border with bare paper around it.",
    )
    LEADS_BESIDE = (
        Code.SEPARATE_PARTS, _CHECK,
        "About {length_mm:0} of lead lines lie beside the panel, touch it nowhere and are left "
        "out; if they are another panel, trace it from a picture of its own.",
    )
    MAYBE_LEAD = (
        Code.POSSIBLE_LEAD, _CHECK,
        "{length_mm:0} here may be a lead (probability {chance:2}) and are not drawn; look whether "
        "a lead runs here.",
    )
    LEAD_TIED_TO_NONE = (
        Code.POSSIBLE_LEAD, _CHECK,
        "{length_mm:0} here look like lead, but are not connected to another lead, and are not "
        "drawn; look whether a lead runs here.",
    )
    DARK_STRIP = (
        Code.POSSIBLE_LEAD, _CHECK,
        "A dark strip {length_mm:0} long and {width_mm:0} wide does not look like lead as a "
        "whole and is not drawn; look whether a lead runs here.",
    )
    DARK_STRIPS = (
        Code.POSSIBLE_LEAD, _CHECK,
        "{strips:0} dark strips of {shortest_mm:0} to {longest_mm:0} do not look like lead as a "
        "whole and are not drawn; textured glass looks so; look here first whether a lead runs.",
    )
    LEAD_LEFT_OUT = (
        Code.POSSIBLE_LEAD, _WRONG,
        "A lead line that crosses others where no joint was found is left out here.",
    )
    LEAD_STRAIGHTENED = (
        Code.DOUBTFUL_LEAD, _WRONG,
        "A lead line that crossed others where no joint was found is drawn straight here.",
    )
    DOUBTFUL_LEAD = (
        Code.DOUBTFUL_LEAD, _CHECK,
        "{came} is seen on {seen_share:0} of its {length_mm:0} and is a lead with a probability of "
        "{chance:2}; without it {pieces:nothing else changes|the border is open there|"
        "pieces {pieces} are one}; look whether it is there.",
    )
    BRIDGED_GAP = (
        Code.BRIDGED_GAP, _CHECK,
        "{came} is not seen for {gap_mm:0}, {from_mm:0} from {joint}, and is drawn on through the "
        "gap.",
    )
    LEAD_OFF = (
        Code.LEAD_OFF, _CHECK,
        "The lead here may lie {off_mm:1} or more beside where it is drawn; measure it on the "
        "panel.",
    )

    # How leads meet

    LINES_CROSS = (
        Code.DOUBTFUL_JOINT, _CHECK,
        "Two lead lines cross here where no joint was found; a joint is drawn, look whether they "
        "meet.",
    )
    PIECE_CROSSED = (
        Code.DOUBTFUL_JOINT, _CHECK,
        "Two lead lines of one piece cross near here and cut off {lost_mm2:1}; settle where they "
        "meet.",
    )
    DOUBTFUL_JOINT = (
        Code.DOUBTFUL_JOINT, _CHECK,
        "{joint}, the joint of {cames}, may lie {off_mm:1} off; measure it on the panel.",
    )
    FREE_END = (
        Code.FREE_END, _CHECK,
        "{came} ends freely inside {pieces:piece|pieces} {pieces}",
        ", {short_mm:0} short of {other_came}",
        "; look whether it is a strap lead or goes on.",
    )
    BORDER_OPEN = (
        Code.BORDER_OPEN, _WRONG,
        "{cames} ({length_mm:0}) {cames:encloses|enclose} no glass: the border is not closed "
        "there, and pieces may be missing.",
    )
    GLASS_LIES_OPEN = (
        Code.BORDER_OPEN, _WRONG,
        "A piece of {area_mm2:0} lay here, reaching {far_mm:0} from this place, and nothing "
        "encloses it now: the border is open; draw the lead that closes it, or say that the border "
        "is so if no glass belongs here.",
    )
    PART_HANGS_LOOSE = (
        Code.SEPARATE_PARTS, _CHECK,
        "{pieces:Piece|Pieces} {pieces} ({area_mm2:0}) {pieces:is|are} not connected to the rest "
        "of the panel by any lead; look for a missing lead.",
    )

    # Widths

    WIDTH_UNMEASURED = (
        Code.WIDTH_UNCERTAIN, _CHECK,
        "The face width of {came} could not be measured and is taken as {width_mm:1}; measure it "
        "on the panel.",
    )
    WIDTH_UNSURE = (
        Code.WIDTH_UNCERTAIN, _CHECK,
        "The face width of {cames}, {width_mm:1}, is uncertain by {cames:|up to }{most_mm:1}; "
        "measure {cames:it|them} on the panel.",
    )
    WIDTH_TOO_NARROW = (
        Code.WIDTH_UNCERTAIN, _CHECK,
        "{cames} {cames:measures|measure} less than {cover_mm:1} across the face, so the leaves "
        "would not cover heart and clearance.",
    )
    LEAF_MAY_BE_ROUND = (
        Code.WIDTH_UNCERTAIN, _CHECK,
        "{cames} may have a round leaf, of which a rubbing shows less than the face, and the next "
        "stock width may be right; measure one of each size with callipers and give it with "
        "--caliper.",
    )
    CALIPER_DISAGREES = (
        Code.WIDTH_UNCERTAIN, _CHECK,
        "The caliper width {width_mm:1} of {came} ({row}) is {wider_mm:+1} off what the rubbing "
        "gives and more than {limit_mm:1} from the others of this size; it is used for {came} "
        "alone: measure again.",
    )
    WIDTH_BETWEEN_STOCK = (
        Code.WIDTH_BETWEEN_STOCK, _CHECK,
        "{cames} {cames:measures|measure} {width_mm:1}",
        " to {widest_mm:1}",
        " across the face, ",
        "under the smallest stock width {smallest}",
        "over the largest stock width {largest}",
        "between the stock widths {below} and {above}",
        "; measure with callipers before ordering.",
    )

    # Pieces

    NO_GLASS_LEFT = (
        Code.NO_GLASS_LEFT, _WRONG,
        "Piece {piece} ({centre_mm2:0} to the middle of its leads) leaves no glass between hearts "
        "of {heart_mm:1}.",
    )
    GLASS_COVERED = (
        Code.NO_GLASS_LEFT, _CHECK,
        "Piece {piece} ({cut_mm2:0} of glass) is wholly covered by the leaves of its leads.",
    )
    GLASS_IN_PARTS = (
        Code.SLIVER_PIECE, _CHECK,
        "Piece {piece} narrows to nothing between its leads: its glass falls into {parts:0} parts, "
        "the largest {largest_mm2:0} and {next_mm2:0}.",
    )
    SLIVER_PIECE = (
        Code.SLIVER_PIECE, _CHECK,
        "Piece {piece} is a sliver: its glass is {across_mm:1} across where it is widest; look "
        "whether both leads are there.",
    )
    SMALL_PIECE = (
        Code.SMALL_PIECE, _CHECK,
        "Piece {piece} is very small: {cut_mm2:0} of glass, {width_mm:1} by {height_mm:1}; look "
        "whether it is glass.",
    )
    INWARD_CORNER = (
        Code.INWARD_CORNER, _CHECK,
        "Piece {piece} has a corner of {sharpest_deg:0} that points into the glass; glass is not "
        "cut so; look whether a lead begins there.",
    )
    INWARD_CORNERS = (
        Code.INWARD_CORNER, _CHECK,
        "Piece {piece} has a corner of {sharpest_deg:0} that points into the glass; glass is not "
        "cut so; look whether a lead of {length_mm:0} runs between its two such corners.",
    )

    # Loose glass

    GLASS_CUT_OFF = (Code.GLASS_CUT_OFF, _CHECK,
        "{loose} is cut off by the edge of the picture or of the sheet; it is not matched; "
        "photograph it whole.",
    )
    GLASS_UNCLEAR = (Code.GLASS_UNCLEAR, _CHECK,
        "The edge of {loose} is hard to distinguish from shadow or ground; check its outline, or "
        "photograph it in softer light or on another ground.",
    )
    GLASS_TWO_EDGES = (Code.GLASS_UNCLEAR, _CHECK,
        "The edge of {loose} is hard to distinguish from shadow or ground: along "
        "{beside_share:0} of it a second edge runs {beside_mm:1} beside the one that was taken; "
        "measure the glass, or photograph it in softer light or on another ground.",
    )
    GLASS_UNREAD = (Code.GLASS_UNREAD, _CHECK,
        "Something that may be glass lies here, but its outline could not be followed; photograph "
        "it on another ground, and look here before you cut anything anew.",
    )
    GLASS_PARTED = (Code.GLASS_TOUCHES, _CHECK,
        "{loose} touched another piece and was separated from it here; look at the edge.",
    )
    GLASS_MAYBE_TWO = (Code.GLASS_TOUCHES, _CHECK,
        "{loose} may be two pieces that touch here; lay them apart.",
    )
    GLASS_SHIFT = (Code.GLASS_SHIFT, _NOTE,
        "The upper edge of glass {glass_mm:1} thick, seen from about {camera_mm:0}, lies "
        "{shift_share:2} too far from the foot of the camera, up to {shift_mm:2} here; it was not "
        "taken out, and the uncertainty is so much larger; give the thickness and the camera's "
        "height.",
    )
    NOT_GLASS = (Code.NOT_GLASS, _NOTE,
        "Something in the picture was left out: it is too small or too long for a piece.",
    )
    ROOM_AROUND = (Code.NOT_GLASS, _NOTE,
        "Something in the picture was left out: it looks like what lies around the table.",
    )
    RULER_SEEN = (Code.NOT_GLASS, _NOTE,
        "Something in the picture was left out: it looks like a ruler or a lath.",
    )
    FEW_FIT = (Code.FEW_FIT, _WRONG,
        "Only {fitting:0} of {whole:0} loose pieces fit an opening: look whether they belong to "
        "this panel, whether the photograph's scale is right, and which side is up.",
    )
    OTHER_AS_LIKELY = (Code.DOUBTFUL_MATCH, _CHECK,
        "{loose} is matched with number {pieces:or}, but number {second:0} is nearly as likely; "
        "lay it in and look.",
    )
    FITS_OVER = (Code.NEAREST_PLACE, _CHECK,
        "{loose} has no place as it lies, but fits number {pieces:or} turned over, off by "
        "{off_mm:1}; look which face is painted, and match with --turn-over.",
    )
    NEAREST = (Code.NEAREST_PLACE, _CHECK,
        "{loose} has no place; number {pieces:or} comes nearest",
        ", too large there by {large_mm:1}", ", too small there by {small_mm:1}", ".",
    )
    PAINTED_AND_ALIKE = (Code.MAY_BE_TURNED, _CHECK,
        "{loose} is painted and fits number {pieces:or} {ways} as well: look at its paint before "
        "it is set.",
    )
    GLASS_MOVES_JOINT = (Code.PATTERN_OFF, _CHECK,
        "The pattern may be wrong at joint {joint}: {pieces} {pieces:fits|fit} better when it lies "
        "{off_mm:1} (give or take {uncertain_mm:1}) from where the pattern has it",
        "; {file} has the correction", ".",
    )
    GLASS_MOVES_LEAD = (Code.PATTERN_OFF, _CHECK,
        "The pattern may be wrong at lead {came}: {pieces} {pieces:fits|fit} better when it lies "
        "{off_mm:1} (give or take {uncertain_mm:1}) beside its line",
        "; {file} has the correction", ".",
    )
    GLASS_BOWS_LEAD = (Code.PATTERN_OFF, _CHECK,
        "The pattern may be wrong at lead {came}: {pieces} {pieces:fits|fit} better when its "
        "middle lies {off_mm:1} (give or take {uncertain_mm:1}) from where the pattern has it",
        "; {file} has the correction", ".",
    )
    DOUBTED_THERE = (Code.PATTERN_DOUBTED, _CHECK,
        "{loose} does not fit in number {piece} at a place where the pattern is in doubt: settle "
        "{doubts} before you take anything off the glass.",
    )
    NONE_AS_LIKELY = (Code.DOUBTFUL_MATCH, _CHECK,
        "{loose} is matched with number {pieces:or}, but that it has no place here is nearly as "
        "likely; lay it in and look.",
    )
    # fmt: on


KINDS = {kind.key: kind for kind in Kind}
"""All kinds by their name in the record."""
