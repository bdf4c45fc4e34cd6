"""The card from two metres: its page, blurred and sampled as an eye of 6/6 sees it there, is read by another program.

Such an eye resolves 1 minute of arc, 0.58 mm at two metres, and the smallest letter that it reads is five times as
high, 2.9 mm (the definition of visual acuity; ISO 8596, optotypes). The page is blurred by a Gaussian and sampled at
every half minute. The Gaussian's width is set so that letters of just that height, those of the card's foot, are lost:
whatever is still read is read with something in hand.
"""

from __future__ import annotations

import io
import os
import re
import subprocess

import pypdfium2
import pytest
from PIL import Image, ImageFilter
from seeds import one_in

from planner.documents.card.sheet import FOOT_PT, READ_AT_M, render_card
from planner.documents.plan.view import PlanView
from planner.documents.printing.font_metrics import capital_mm, smallest_letter_mm
from planner.plan.plan import Plan

from .conftest import PdfOf, PlanOf

DOTS_A_MM = 8
READ_DOTS_A_MM = (3, 6.2)
MINUTE_MM = smallest_letter_mm(READ_AT_M) / 5
BLUR_MINUTES, SAMPLE_MINUTES = 0.7, 0.5
# Which eye, how hard: a right and a left of each, and one of which little is recorded.
SEEN = ["routine", "tamsulosin", "tense-white", "every-limit-left", "half-filled"]


def picture_of(pdf: bytes) -> Image.Image:
    """The first page in greys."""
    page = pypdfium2.PdfDocument(pdf)[0]
    picture: Image.Image = page.render(scale=DOTS_A_MM * 25.4 / 72).to_pil().convert("L")
    return picture


def from_two_metres(picture: Image.Image) -> Image.Image:
    """The picture blurred, and with one grey for every sample."""
    blurred = picture.filter(ImageFilter.GaussianBlur(BLUR_MINUTES * MINUTE_MM * DOTS_A_MM))
    share = 1 / (SAMPLE_MINUTES * MINUTE_MM * DOTS_A_MM)
    return blurred.resize((round(picture.width * share), round(picture.height * share)), Image.Resampling.BOX)


def words_on(picture: Image.Image) -> str:
    """What the reading program makes of the picture: letters and figures alone, in one case.

    Where lines break, and how a quotation mark is read, does not matter. The program reads letters of one height at a
    time, so it is shown the picture at a size for the large words and at one for the rest.
    """
    return "\n".join(_read(picture, dots_a_mm) for dots_a_mm in READ_DOTS_A_MM)


def _read(picture: Image.Image, dots_a_mm: float) -> str:
    share = 297 * dots_a_mm / max(picture.size)
    size = (round(picture.width * share), round(picture.height * share))
    held = io.BytesIO()
    picture.resize(size, Image.Resampling.BICUBIC).save(held, "png")
    command = ["tesseract", "-", "-", "-l", "eng", "--dpi", str(round(dots_a_mm * 25.4))]
    # One thread: the program's own threads wait on each other where cores are busy.
    environment = {**os.environ, "OMP_THREAD_LIMIT": "1"}
    done = subprocess.run(command, input=held.getvalue(), capture_output=True, check=True, env=environment)
    return plain(done.stdout.decode())


def plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


def first_pause(plan: Plan) -> str:
    """What to pause at in the hardest step; where too little is recorded for a technique, that."""
    shown = PlanView(plan)
    hardest = max(shown.steps, key=lambda step: (bool(step.pause), len(step.step.harder_because)))
    return hardest.pause[0][0] if hardest.pause else shown.not_written


@pytest.mark.parametrize("name", one_in(3, SEEN))
def test_side_tier_and_first_pause_are_read(plan_of: PlanOf, name: str) -> None:
    plan = plan_of(name)
    words = words_on(from_two_metres(picture_of(render_card(plan))))
    side = plain(PlanView(plan).side)
    assert side in words
    assert ("lefteye" if side == "righteye" else "righteye") not in words
    assert f"tier{plan.assessment.tier.working}{plain(PlanView(plan).mode)}" in words
    assert plain(first_pause(plan)) in words


@pytest.mark.long
def test_letters_at_the_limit_are_lost(plan_of: PlanOf) -> None:
    # That the blur is strong enough: letters as high as the smallest that a 6/6 eye reads there, read when not blurred.
    assert capital_mm(FOOT_PT) == pytest.approx(smallest_letter_mm(READ_AT_M), abs=0.1)
    plan = plan_of("tense-white")
    sharp = picture_of(render_card(plan))
    assert plain(plan.deferral[0]) in words_on(sharp)
    assert plain(plan.deferral[0]) not in words_on(from_two_metres(sharp))


@pytest.mark.long
def test_the_small_print_of_the_plan_is_lost(plan_of: PlanOf, pdf_of: PdfOf) -> None:
    sharp = picture_of(pdf_of("tense-white"))
    small_print = plain(plan_of("tense-white").deferral[1])
    assert small_print in words_on(sharp)
    assert small_print not in words_on(from_two_metres(sharp))
