"""File names of pages."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.report import names


def test_a_page_is_named_by_its_wall():
    assert names.page_name("DH-01", "N", "wall") == "wall_DH-01_N.html"
    assert names.page_name("DH-01", "N", "homeowner") == "homeowner_DH-01_N.html"
    assert names.page_name("DH-01", "N", "homeowner.es") == "homeowner_DH-01_N.es.html"
    assert names.page_name("DH-01", "N.es", "homeowner") == "homeowner_DH-01_N.2e.es.html"


def test_there_is_no_page_of_an_unknown_kind():
    with pytest.raises(ValueError, match="no page of kind 'secret'"):
        names.page_name("DH-01", "N", "secret")


@given(st.tuples(st.text(), st.text()), st.tuples(st.text(), st.text()))
def test_two_walls_never_share_a_name(one, other):
    assert (names.page_name(*one, "wall") == names.page_name(*other, "wall")) == (one == other)


@given(st.text(), st.text(), st.sampled_from(names.KINDS))
def test_the_wall_of_a_page_is_told_from_its_name(house, wall, kind):
    assert names.wall_of(names.page_name(house, wall, kind)) == (house, wall)


@pytest.mark.parametrize(
    "name",
    ["index.html", "secret_DH-01_N.html", "wall_DH-01_N.es.html", "wall_DH-01.html", "wall_DH-01_N.htm", "",
     "wall_DH-01_.110000..html", "wall_DH-01_.ffffffffff..html", "wall_DH_01_N.html", "homeowner_DH-01_N.xx.html"],
)  # fmt: skip
def test_what_is_no_page_of_a_wall_has_none(name):
    assert names.wall_of(name) is None


@given(st.text(), st.text())
def test_a_name_holds_no_character_that_a_file_system_or_a_link_reads(house, wall):
    name = names.page_name(house, wall, "homeowner")
    assert set(name) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.")
    assert not name.startswith(".")


def test_the_index_holds_every_registered_wall_in_order(book):
    keys = names.wall_keys(book)
    assert keys == sorted(keys)
    assert len(keys) == 18
