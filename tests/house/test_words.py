"""The project speaks of itself alone, and its documents keep what they promise."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]


def tracked_text():
    for pattern in ("*.md", "*.toml", "xover/**/*.py", "circuits/*", "examples/**/*", "tests/**/*.py", ".ci/*"):
        for path in ROOT.glob(pattern):
            if path.is_file() and "__pycache__" not in path.parts and path != Path(__file__):
                yield path, path.read_bytes().decode("utf-8", "replace")


def test_no_machine_paths():
    found = 0
    for path, text in tracked_text():
        found += 1
        assert not re.search(r"/(?:home|root|tmp|work)/\w", text), path
    assert found > 100


def test_every_dependency_has_its_line_in_developers():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    names = project["dependencies"] + [d for group in project["optional-dependencies"].values() for d in group]
    guide = (ROOT / "DEVELOPERS.md").read_text().lower()
    assert len(names) > 8
    for name in names:
        assert re.split(r"[<>=\[]", name)[0].lower() in guide, name


def test_changelog_names_the_version():
    import xover

    assert f"## {xover.__version__}" in (ROOT / "CHANGELOG.md").read_text()


def test_readme_opens_with_the_job():
    lines = (ROOT / "README.md").read_text().splitlines()
    assert lines[0] == "# xover"
    assert len(lines[2]) > 200
