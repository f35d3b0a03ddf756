"""``specdb picture``: a file of its own, whole, and never over another."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from api import create_app
from specdb.cli.drawing import DRAWN, PictureName
from specdb.pictures import PICTURES
from tests.cli.conftest import Run
from tests.specdb.pictures.drawn import Drawn

WORK = ("--flow", "75 L/min", "--grade", "ISO VG 46", "--viscosity-index", "100", "--operating-temperature", "50 degC")
ASKED = {
    "flow": "75 L/min",
    "fluid.grade": "ISO VG 46",
    "fluid.viscosity_index": "100",
    "operating_temperature": "50 degC",
    "units": "us",
}


def test_every_picture_has_its_name() -> None:
    assert {key: name.value for name, key in DRAWN.items()} == {key: key.replace("_", "-") for key in PICTURES}
    assert set(DRAWN) == set(PictureName)


def test_a_picture_is_written_and_is_that_of_the_service(run: Run, demo_store_url: str, tmp_path: Path) -> None:
    file = tmp_path / "drop.svg"
    done = run("picture", "pressure-drop", "Dulse", "23", *WORK, "--units", "us", "--to", str(file))
    assert (done.status, done.out, done.err) == (0, f"The picture is in {file}.\n", "")
    with TestClient(create_app(demo_store_url)) as client:
        answer = client.get("/v1/elements/23d2f750f7492a15/pictures/pressure_drop", params=ASKED)
    assert file.read_bytes() == answer.content


def test_a_picture_goes_to_standard_output_alone(run: Run) -> None:
    done = run("picture", "criteria", "quollbeck: Dulse 23", "--original", "12-1", "--to", "-")
    assert (done.status, done.err) == (0, "")
    assert "in place of Tarnwhistle 12-1" in Drawn(done.out).words


def test_nothing_is_written_over(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "letter.svg"
    file.write_text("Dear sir or madam")
    assert "--to: This is there already" in run("picture", "filtration-ratio", "12-1", "--to", str(file)).refused(2)
    assert file.read_text() == "Dear sir or madam"


@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (("pressure-drop", "12-1"), 2, ["  --flow: ", "  --grade: "]),
        (("criteria", "12-1"), 2, ["--require: Nothing is required."]),
        (("criteria", "12-1", "--original", "nowhere"), 3, ["--original: No element has this number. Found: nowhere."]),
        (("criteria", "nowhere"), 3, ["NUMBER: No element has this number. Found: nowhere."]),
        (("likeness", "12-1"), 2, ["'PICTURE'", "pressure-drop", "filtration-ratio", "criteria"]),
        (("pressure_drop", "12-1"), 2, ["'PICTURE': 'pressure_drop' is not one of", "Did you mean pressure-drop?"]),
    ],
)
def test_what_cannot_be_drawn_is_told_and_no_file_is_left(
    run: Run, tmp_path: Path, arguments: tuple[str, ...], status: int, told: list[str]
) -> None:
    file = tmp_path / "picture.svg"
    said = run("picture", *arguments, "--to", str(file)).refused(status)
    assert all(each in said for each in told), said
    assert not file.exists()


def test_a_file_that_is_no_svg_or_has_no_folder_is_refused(run: Run, tmp_path: Path) -> None:
    asked = ("picture", "filtration-ratio", "12-1", "--to")
    assert "--to: A picture is written as SVG." in run(*asked, str(tmp_path / "picture.png")).refused(2)
    assert "--to: The file cannot be written: " in run(*asked, str(tmp_path / "none" / "picture.svg")).refused(2)
