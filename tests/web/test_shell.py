"""The files of a page: one version over all of them, and icons that always come out the same."""

import io
from pathlib import Path

import pytest
from PIL import Image

from webapp.web.files.icons import SIZES, icon
from webapp.web.files.joining import CannotJoin
from webapp.web.files.shell import TABLET_SHEETS, TABLET_WORDS, Shell, font_name, read_shell


def shell_of(folder: Path, script: str = "export const one = 1;", page: str = "<p>") -> Shell:
    (folder / "js").mkdir(parents=True, exist_ok=True)
    (folder / "css").mkdir(exist_ok=True)
    (folder / "js" / "main.js").write_text(script)
    (folder / "js" / "glass.js").write_text("")
    for sheet in (*TABLET_SHEETS, "css/desk.css"):
        (folder / sheet).write_text("p { color: red }")
    for words in TABLET_WORDS:
        (folder / words).parent.mkdir(parents=True, exist_ok=True)
        (folder / words).write_text("{}")
    (folder / "sw.js").write_text("/* worker */")
    (folder / "page.html").write_text(page)
    return read_shell(
        folder, [folder / "page.html"], {"f-1.woff2": b"font"}, {"icon.png": b"png"}, "@font-face{}"
    )


def test_the_same_files_give_the_same_version(tmp_path: Path) -> None:
    assert shell_of(tmp_path / "one").version == shell_of(tmp_path / "two").version


@pytest.mark.parametrize("changed", [{"script": "export const one = 2;"}, {"page": "<p>another"}])
def test_one_changed_file_gives_another_version(tmp_path: Path, changed: dict[str, str]) -> None:
    assert shell_of(tmp_path / "one").version != shell_of(tmp_path / "two", **changed).version


def test_an_asset_lies_under_the_version(tmp_path: Path) -> None:
    shell = shell_of(tmp_path)
    assert shell.address("js/main.js") == f"/assets/{shell.version}/js/main.js"


def test_a_file_that_does_not_exist_stops_the_page_that_names_it(tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        shell_of(tmp_path).address("js/mian.js")


def test_tablets_keep_the_page_its_files_fonts_and_icons_but_nothing_of_the_desk(tmp_path: Path) -> None:
    shell = shell_of(tmp_path)
    kept = shell.kept_on_tablets()
    assert kept[:2] == ["/tablet", "/manifest.webmanifest"]
    joined = [shell.address(f"joined/tablet.{kind}") for kind in ("css", "js", "json")]
    assert kept[2:] == [*joined, "/fonts/f-1.woff2", "/icons/icon.png"]
    assert not [address for address in kept if "desk" in address or "sw.js" in address]
    assert len(kept) == len(set(kept))


def test_a_module_that_cannot_be_joined_stops_the_program_at_its_start(tmp_path: Path) -> None:
    with pytest.raises(CannotJoin, match=r"js/main\.js"):
        shell_of(tmp_path, script="export default 1;")


def test_the_name_of_a_font_follows_its_bytes() -> None:
    assert font_name("regular", b"one") != font_name("regular", b"two")


@pytest.mark.parametrize("name", SIZES)
def test_an_icon_is_a_png_of_its_size_and_comes_out_the_same_twice(name: str) -> None:
    first = icon(name)
    icon.cache_clear()
    assert icon(name) == first
    picture = Image.open(io.BytesIO(first))
    assert picture.format == "PNG"
    assert picture.size == (SIZES[name][0],) * 2


def test_the_maskable_icon_draws_inside_the_circle_that_every_mask_leaves() -> None:
    # W3C Web Application Manifest, "safe zone": a circle of 40 % of the smaller side.
    picture = Image.open(io.BytesIO(icon("icon-maskable-512.png"))).convert("L")
    pixels = picture.load()
    assert pixels is not None
    dark = [(x, y) for x in range(512) for y in range(512) if float(pixels[x, y]) < 128]  # type: ignore[arg-type]
    assert dark
    assert max(((x - 255.5) ** 2 + (y - 255.5) ** 2) ** 0.5 for x, y in dark) <= 0.4 * 512
