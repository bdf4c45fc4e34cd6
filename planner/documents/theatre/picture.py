"""The tier as a picture: four boxes, from what is on record to what it may be until the rest is known."""

from __future__ import annotations

from html import escape

TIERS = (1, 2, 3, 4)
# The drawing's own units; printed 58 by 9.2 mm.
BOX, GAP, HIGH, WIDE, TALL = 58, 8, 24, 264, 42
FONT = 'font-family="Plan Text" font-size="14"'


def tier_picture(on_record: int | None, until_known: int, words: str) -> str:
    """SVG of both readings; `words` say the same. The tier until known is filled, the one on record thickly framed."""
    drawn = [_box(tier, on_record, until_known) for tier in TIERS]
    low = until_known if on_record is None else min(on_record, until_known)
    start, end = _left(low) + BOX / 2, _left(until_known) + BOX / 2
    if start != end:
        drawn.append(f'<path d="M{start} {HIGH + 3}H{end}" stroke="#000" stroke-width="4" fill="none"/>')
    if on_record is None:
        drawn.append(_label(until_known, "until known"))
    elif on_record == until_known:
        drawn.append(_label(until_known, "on record and until known"))
    else:
        drawn += [_label(on_record, "on record"), _label(until_known, "until known")]
    title = f"<title>{escape(words)}</title>"
    box = f'viewBox="0 0 {WIDE} {TALL}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" class="readings" role="img" {box}>{title}{"".join(drawn)}</svg>'


def _left(tier: int) -> float:
    return 1 + (tier - 1) * (BOX + GAP)


def _box(tier: int, on_record: int | None, until_known: int) -> str:
    fill, ink = ("#000", "#fff") if tier == until_known else ("#fff", "#000")
    edge = 3 if tier in (on_record, until_known) else 1
    left, placed = _left(tier), f'x="{_left(tier) + BOX / 2}" y="18" text-anchor="middle"'
    frame = f'fill="{fill}" stroke="#000" stroke-width="{edge}"'
    box = f'<rect x="{left}" y="1.5" width="{BOX}" height="{HIGH - 3}" {frame}/>'
    return f'{box}<text {placed} {FONT} font-weight="700" fill="{ink}">{tier}</text>'


def _label(tier: int, words: str) -> str:
    """The words beneath a box, held within the drawing."""
    middle, half = _left(tier) + BOX / 2, 3.2 * len(words)
    at = min(max(middle, half), WIDE - half)
    return f'<text x="{at}" y="{TALL - 2}" {FONT} text-anchor="middle">{words}</text>'
