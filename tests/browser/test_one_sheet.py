"""The sheet for the glove box prints on one A4 page."""

from tests.make import glove_box


def test_it_prints_on_one_page(browser):
    page = browser.new_page()
    page.goto(glove_box.SHEET.as_uri())
    printed = page.pdf(prefer_css_page_size=True)
    assert printed.count(b"/Type /Page") - printed.count(b"/Type /Pages") == 1
