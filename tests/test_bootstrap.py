"""The set-up: it looks before it changes,
leaves nothing half done, and says what to do when it cannot go on.
"""

import fcntl
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest

from webapp.bootstrap.debian import line_for_root, to_install
from webapp.bootstrap.environment import Environment, with_the_systems_authorities
from webapp.bootstrap.needs import PROGRAM, TESTS, Need, missing, packages
from webapp.bootstrap.saying import SetUpError
from webapp.checking import ROOT

NOT_THERE = Need("library", "libof-no-such-name.so.9", "libof-no-such-name9")
NOBODY = 65534
ADDRESS_WITHOUT_SERVER = "http://127.0.0.1:9/"


@pytest.fixture
def checkout() -> Iterator[Path]:
    """A folder that every user may look into, laid out as the set-up expects, with nothing to install."""
    folder = Path("/tmp") / f"zerokeep-bootstrap-{os.getpid()}"
    (folder / "webapp").mkdir(parents=True)
    (folder / "webapp" / "fonts.py").write_text("", encoding="utf-8")
    (folder / "webapp" / "requirements.txt").write_text("", encoding="utf-8")
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def environment_of(checkout: Path, needed_mb: int = 1) -> Environment:
    return Environment(checkout, checkout / "webapp" / "requirements.txt", needed_mb)


def wheel(folder: Path) -> Path:
    """A package of one line, made here."""
    path = folder / "zerokeep_sample-1-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("zerokeep_sample.py", "answer = 42\n")
        archive.writestr(
            "zerokeep_sample-1.dist-info/METADATA",
            "Metadata-Version: 2.1\nName: zerokeep-sample\nVersion: 1\n",
        )
        archive.writestr(
            "zerokeep_sample-1.dist-info/WHEEL",
            "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        )
        archive.writestr("zerokeep_sample-1.dist-info/RECORD", "")
    return path


def pin(checkout: Path, digest: str | None = None) -> None:
    """Put the sample package on the checkout's list, with its own hash or another."""
    made = wheel(checkout)
    digest = digest or sha256(made.read_bytes()).hexdigest()
    line = f"zerokeep-sample @ {made.as_uri()} --hash=sha256:{digest}\n"
    (checkout / "webapp" / "requirements.txt").write_text(line, encoding="utf-8")


def as_ordinary_user(program: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run lines of Python as a user without rights (as whoever runs the tests, where that is not root)."""
    user = {"user": NOBODY, "group": NOBODY, "extra_groups": []} if os.geteuid() == 0 else {}
    packages_folder = Path("/tmp") / f"zerokeep-lines-{os.getpid()}"
    shutil.copytree(ROOT / "webapp" / "bootstrap", packages_folder / "bootstrap", dirs_exist_ok=True)
    try:
        return subprocess.run(
            [shutil.which("python3", path="/usr/bin:/usr/local/bin") or sys.executable, "-c", program,
             *arguments],
            capture_output=True, text=True, check=False,
            env={**os.environ, "PYTHONPATH": str(packages_folder)}, **user,
        )  # fmt: skip
    finally:
        shutil.rmtree(packages_folder)


def test_nothing_is_missing_where_these_tests_run() -> None:
    assert missing(PROGRAM + TESTS) == []


@pytest.mark.parametrize("kind", ["font", "library", "module", "program"])
def test_what_does_not_exist_is_missing(kind: str) -> None:
    need = Need(kind, "of_no_such_name", "some-package")
    assert missing([need]) == [need]


def test_where_nothing_is_missing_there_is_nothing_to_install() -> None:
    assert to_install(PROGRAM) == []


def test_a_package_that_brings_two_things_is_named_once() -> None:
    assert packages(
        [Need("program", "a", "one"), Need("program", "b", "two"), Need("program", "c", "one")]
    ) == ["one", "two"]


def test_without_root_the_one_line_is_named_and_nothing_is_run() -> None:
    done = as_ordinary_user(
        "from bootstrap.debian import to_install\n"
        "from bootstrap.needs import Need\n"
        "from bootstrap.saying import SetUpError\n"
        "try: to_install([Need('library', 'libof-no-such-name.so.9', 'libof-no-such-name9')])\n"
        "except SetUpError as error: print(error)\n"
    )
    assert done.stderr == ""
    assert f"\n    {line_for_root(['libof-no-such-name9'])}\n" in done.stdout
    assert "Nothing was changed" in done.stdout


def test_where_there_is_no_apt_the_things_themselves_are_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(SetUpError, match=r"lacks: libof-no-such-name\.so\.9 \(library\)"):
        to_install([NOT_THERE])


def test_an_environment_is_made_once_and_then_left_alone(checkout: Path) -> None:
    pin(checkout)
    environment = environment_of(checkout)
    assert not environment.is_ready()
    environment.make()
    assert environment.is_ready()
    program = "import zerokeep_sample, webapp; print(zerokeep_sample.answer, *webapp.__path__)"
    command = [environment.python, "-c", program]
    answer = subprocess.run(command, cwd="/", capture_output=True, text=True, check=True).stdout
    assert answer == f"42 {checkout / 'webapp'}\n"

    kept = environment.folder / "left-alone"
    kept.touch()
    environment.make()
    assert kept.exists()


def test_the_program_is_compiled_for_those_who_may_not_write_there(checkout: Path) -> None:
    (checkout / "webapp" / "half_saved.py").write_text("def", encoding="utf-8")
    environment_of(checkout).make()
    compiled = {one.name.partition(".")[0] for one in (checkout / "webapp").rglob("*.pyc")}
    assert compiled == {"fonts"}, "what cannot be compiled stops nothing"


def test_a_half_made_environment_is_made_anew(checkout: Path) -> None:
    environment = environment_of(checkout)
    (environment.folder / "bin").mkdir(parents=True)
    (environment.folder / "half-made").touch()
    environment.make()
    assert environment.is_ready()
    assert not (environment.folder / "half-made").exists()


def test_other_pins_another_folder_or_a_lost_python_make_an_environment_not_ready(checkout: Path) -> None:
    environment = environment_of(checkout)
    environment.make()

    moved = checkout.with_name(checkout.name + "-moved")
    checkout.rename(moved)
    assert not environment_of(moved).is_ready()
    moved.rename(checkout)
    assert environment.is_ready()

    (checkout / "webapp" / "requirements.txt").write_text("# another list\n", encoding="utf-8")
    assert not environment.is_ready()
    (checkout / "webapp" / "requirements.txt").write_text("", encoding="utf-8")
    assert environment.is_ready()

    environment.python.unlink()
    assert not environment.is_ready()


def test_a_longer_list_is_added_to_a_ready_environment(checkout: Path) -> None:
    base = environment_of(checkout)
    base.make()
    (base.folder / "kept").touch()
    longer = checkout / "webapp" / "requirements-test.txt"
    longer.write_text("", encoding="utf-8")
    Environment(checkout, longer, 1, base=base).make()
    assert (base.folder / "kept").exists()
    assert base.is_ready()


def test_a_package_with_another_hash_is_refused_and_the_environment_is_not_ready(checkout: Path) -> None:
    pin(checkout, digest="0" * 64)
    with pytest.raises(SetUpError, match=r"not the one that was pinned.*not installed"):
        environment_of(checkout).make()
    assert not environment_of(checkout).is_ready()


def test_no_network_is_said_in_plain_words(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (checkout / "webapp" / "requirements.txt").write_text(
        f"zerokeep-sample==1 --hash=sha256:{'0' * 64}\n", encoding="utf-8"
    )
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    monkeypatch.setenv("PIP_INDEX_URL", ADDRESS_WITHOUT_SERVER)
    monkeypatch.delenv("PIP_FIND_LINKS", raising=False)
    with pytest.raises(SetUpError, match=r"cannot be reached.*\n.*Check the connection"):
        environment_of(checkout).make()


def test_node_is_told_of_the_authorities_that_the_system_trusts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "own.pem"
    own.write_text("", encoding="ascii")
    monkeypatch.setenv("SSL_CERT_FILE", str(own))
    assert with_the_systems_authorities({"A": "1"}) == {"A": "1", "NODE_EXTRA_CA_CERTS": str(own)}
    told = with_the_systems_authorities({"NODE_EXTRA_CA_CERTS": "another"})
    assert told == {"NODE_EXTRA_CA_CERTS": "another"}


def test_a_full_disk_is_said_before_anything_is_changed(checkout: Path) -> None:
    environment = environment_of(checkout, needed_mb=10**9)
    with pytest.raises(SetUpError, match=r"1000000000 MB.*\n.*Nothing was changed"):
        environment.check_room()
    assert not environment.folder.exists()


def test_a_folder_that_may_not_be_written_is_said_before_anything_is_changed(checkout: Path) -> None:
    checkout.chmod(0o555)
    done = as_ordinary_user(
        "import pathlib, sys\n"
        "from bootstrap.environment import Environment\n"
        "from bootstrap.saying import SetUpError\n"
        "root = pathlib.Path(sys.argv[1])\n"
        "try: Environment(root, root / 'webapp' / 'requirements.txt', 1).check_room()\n"
        "except SetUpError as error: print(error)\n",
        checkout,
    )
    assert done.stderr == ""
    assert f"The folder {checkout} cannot be written" in done.stdout
    assert "Copy the project to a folder of your own" in done.stdout


def test_a_second_set_up_in_the_same_folder_waits_for_the_first(checkout: Path) -> None:
    folder = os.open(checkout, os.O_RDONLY)
    fcntl.flock(folder, fcntl.LOCK_EX)
    program = (
        "import pathlib, sys\n"
        "from webapp.bootstrap.environment import Environment\n"
        "root = pathlib.Path(sys.argv[1])\n"
        "Environment(root, root / 'webapp' / 'requirements.txt', 1).make()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, checkout], cwd=ROOT, stderr=subprocess.PIPE, text=True
    ) as second:
        assert second.stderr is not None
        assert "Waiting for it to finish" in second.stderr.readline()
        assert not environment_of(checkout).folder.exists()
        os.close(folder)
        assert second.wait() == 0
    assert environment_of(checkout).is_ready()


def test_the_first_start_of_the_program_waits_for_the_tests_set_up_and_uses_it(checkout: Path) -> None:
    longer = checkout / "webapp" / "requirements-test.txt"
    longer.write_text("", encoding="utf-8")
    program = environment_of(checkout)
    Environment(checkout, longer, 1, base=program).make()
    (program.folder / "in-use").touch()
    program.make()
    assert (program.folder / "in-use").exists()
    assert program.is_ready()


def test_a_typeface_that_cannot_be_cut_ends_the_set_up_with_the_reason(checkout: Path) -> None:
    (checkout / "webapp" / "fonts.py").write_text(
        "raise SystemExit('no room for letters')\n", encoding="utf-8"
    )
    with pytest.raises(SetUpError, match="no room for letters"):
        environment_of(checkout).make()
    assert not environment_of(checkout).is_ready()
