"""The samples are found in a checkout and in an installed package, each with its own words."""

import shutil
import tomllib
from pathlib import Path

import pytest

from tracelens import samples

ROOT = Path(__file__).parents[1]


@pytest.fixture(autouse=True)
def anew():
    samples.samples.cache_clear()
    yield
    samples.samples.cache_clear()


def test_the_wheel_takes_them_along():
    made = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    taken = made["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert taken == {"sample_traces": "tracelens/sample_traces"}


def test_an_installed_package_offers_its_own(tmp_path, monkeypatch):
    shutil.copytree(ROOT / "sample_traces" / "classroom", tmp_path / "classroom")
    monkeypatch.setattr(samples, "_INSTALLED", tmp_path)
    found = samples.samples()
    assert len(found) > 20
    assert all(sample.classroom and sample.log.is_relative_to(tmp_path) for sample in found)


def test_without_them_there_are_none(tmp_path, monkeypatch):
    monkeypatch.setattr(samples, "_INSTALLED", tmp_path / "not")
    monkeypatch.setattr(samples, "_CHECKOUT", tmp_path / "there")
    assert samples.samples() == ()


def test_each_says_what_it_shows():
    found = samples.sample("lander_none")
    assert found is not None
    assert found.about.startswith("The lander of 1997 (G. Reeves,")
    assert found.about.endswith("would reset.")
    assert samples.sample("../lander_none") is None
