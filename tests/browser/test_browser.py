"""The browser itself: the fixtures reach the program, and what is wrong on a page fails a test."""


def test_a_page_is_served_with_its_styles(tablet_page):
    answer = tablet_page.goto("/static/css/tokens.css")
    assert answer.status == 200
    assert tablet_page.evaluate("navigator.maxTouchPoints") > 0
