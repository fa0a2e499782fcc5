"""The ends of a window in a real browser: dragged, touched, moved by keys, and what the button does then."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from web.web_bench import Served

PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)
LOW, HIGH = "Low end of the window", "High end of the window"


@pytest.fixture
def page(browser: Browser, pages: Served) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    context.set_default_timeout(PATIENCE_MS)
    tab = context.new_page()
    messages: list[str] = []
    tab.on("console", lambda message: messages.append(f"{message.type}: {message.text}"))
    tab.on("pageerror", lambda error: messages.append(f"error: {error}"))
    tab.goto(f"{pages.address}/curves/window")
    tab.wait_for_load_state("networkidle")
    yield tab
    context.close()
    assert messages == []


def drag(page: Page, name: str, by: float) -> None:
    handle = page.get_by_role("slider", name=name)
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    assert box is not None
    at = box["x"] + (box["width"] - 4 if name == LOW else 4)
    page.mouse.move(at, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(at + by, box["y"] + 60, steps=4)
    page.mouse.up()


def test_dragging_moves_the_field_and_tries_nothing_until_the_button_does(page: Page) -> None:
    drag(page, LOW, 40.0)
    low = float(page.input_value("#field-low"))
    assert 0.42 < low < 0.52
    assert round(low * 100.0) == pytest.approx(low * 100.0)
    assert page.get_by_role("slider", name=LOW).get_attribute("aria-valuetext") == f"{low:.2f} V"
    expect(page.locator("#effect-title")).to_contain_text("What the present definition does")
    page.get_by_role("button", name="Try this definition").click()
    expect(page.locator("#effect-title")).to_contain_text(f"What it does: height above a chord, {low:.2f} to 0.76 V")
    assert f"low={low:g}&" in page.url
    expect(page.get_by_role("button", name="Try this definition")).to_be_enabled()
    expect(page.locator("#effect")).to_contain_text("2 definitions so far")


def test_arrow_keys_move_an_end_and_the_two_never_meet(page: Page) -> None:
    high = page.get_by_role("slider", name=HIGH)
    high.focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Shift+ArrowRight")
    assert page.input_value("#field-high") == "0.741"
    assert high.get_attribute("aria-valuenow") == "0.741"
    page.keyboard.press("Home")
    assert float(page.input_value("#field-high")) == pytest.approx(0.41)
    page.keyboard.press("End")
    assert float(page.input_value("#field-high")) == pytest.approx(0.9, abs=0.01)
    page.keyboard.press("Enter")
    expect(page.locator("#effect-title")).to_contain_text("What it does: height above a chord, 0.40 to 0.9")


def test_each_release_tries_when_that_is_wished(page: Page) -> None:
    page.get_by_label("try it at each release").check()
    drag(page, HIGH, -30.0)
    expect(page.locator("#effect-title")).to_contain_text("What it does")
    assert f"high={float(page.input_value('#field-high')):g}&" in page.url


def test_the_other_view_takes_along_what_the_fields_hold(page: Page) -> None:
    drag(page, LOW, 40.0)
    low = page.input_value("#field-low")
    page.get_by_role("link", name="See the window from close").click()
    page.wait_for_load_state("networkidle")
    assert page.input_value("#field-low") == low
    expect(page.locator("#effect")).to_contain_text("not tried on the present curves")
    page.get_by_role("button", name="Try this definition").click()
    expect(page.locator("#effect-title")).to_contain_text(f"What it does: height above a chord, {low} to 0.76 V")
    assert "close=1" in page.url


def test_a_window_that_is_none_is_said_before_anything_is_sent(page: Page) -> None:
    page.fill("#field-low", "0.9")
    page.get_by_role("button", name="Try this definition").click()
    told = page.locator("#field-high").evaluate("field => field.validationMessage")
    assert told == "The high end must be above the low one."
    assert page.url.endswith("/curves/window")


def test_a_finger_moves_an_end_on_a_phone(browser: Browser, pages: Served) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(f"{pages.address}/curves/window")
    handle = page.get_by_role("slider", name=LOW)
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    assert box is not None and box["width"] >= 44.0
    session, at = context.new_cdp_session(page), {"x": box["x"] + box["width"] - 6.0, "y": box["y"] + 20.0}
    for kind, points in (
        ("touchStart", [at]),
        ("touchMove", [at | {"x": at["x"] + 12.0}]),
        ("touchMove", [at | {"x": at["x"] + 25.0}]),
        ("touchEnd", []),
    ):
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert float(page.input_value("#field-low")) > 0.44
    context.close()


def test_without_script_and_with_a_decimal_comma_the_fields_do_the_same(browser: Browser, pages: Served) -> None:
    context = browser.new_context(java_script_enabled=False, locale="de-DE")
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(f"{pages.address}/curves/window")
    assert page.get_by_role("slider").count() == 0
    assert page.input_value("#field-low") == "0,40"
    page.fill("#field-low", "0,43")
    page.select_option("#field-quantity", "charge")
    page.get_by_role("button", name="Try this definition").click()
    assert page.inner_text("#effect-title") == "What it does: charge above a chord, 0,43 to 0,76 V, anodic, cycle last"
    context.close()
