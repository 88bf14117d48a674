"""Templates: text is made safe where it is put in, and nothing that is named may be missing."""

import pytest
from jinja2 import UndefinedError
from markupsafe import Markup

from spreadnet.outputs import render as module
from spreadnet.outputs.render import Table, fragment, render


def made(monkeypatch, text):
    """The environment as it is, with one template of our own."""
    from jinja2 import DictLoader

    overlay = module._environment().overlay(loader=DictLoader({"made.j2": text}))
    monkeypatch.setattr(module, "_environment", lambda: overlay)


def test_text_is_escaped_and_cleaned_in_every_place(monkeypatch):
    made(monkeypatch, '{% macro m(x) %}<i>{{ x }}</i>{% endmacro %}<b a="{{ t }}">{{ m(t) }}</b>')
    evil = "\"'<b>\u202eA\n\x00&amp;"
    shown = "&#34;&#39;&lt;b&gt;A &amp;amp;"
    assert fragment("made.j2", t=evil) == f'<b a="{shown}"><i>{shown}</i></b>'


def test_only_markup_stays_as_it_is(monkeypatch):
    made(monkeypatch, "{{ a }}{{ b }}{{ c }}{{ d }}")
    assert fragment("made.j2", a=Markup("<b>"), b="<b>", c=3, d=None) == "<b>&lt;b&gt;3"


def test_what_a_template_names_must_be_given(monkeypatch):
    made(monkeypatch, "{{ forgotten }}")
    with pytest.raises(UndefinedError, match="forgotten"):
        fragment("made.j2")
    monkeypatch.undo()
    with pytest.raises(UndefinedError):
        render("pages/plan.html.j2", title="x")


def table(one):
    return module._environment().get_template("pages/parts.html.j2").module.table(one)


def test_a_row_may_have_a_line_below_it():
    html = table(Table("Caption", ("a", "b"), [("x", "1")], below=["because <of> it"]))
    assert '<td colspan="2">because &lt;of&gt; it</td>' in html


def test_rows_and_columns_have_headings_and_classes():
    html = table(Table("A & B", ("a", "b", "c"), [("x", "<1>", "2")], kinds=("", "word")))
    assert 'aria-label="A &amp; B"' in html and "<caption>A &amp; B</caption>" in html
    assert '<th scope="col">a</th>' in html and '<th scope="col" class="word">b</th>' in html
    assert '<th scope="row">x</th>' in html and '<td class="word">&lt;1&gt;</td>' in html
    assert "<td>2</td>" in html
