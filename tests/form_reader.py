"""What a browser would post from a form of a page, unchanged."""

from html.parser import HTMLParser


class FormReader(HTMLParser):
    """Collects what a browser would post from the page's form to `action`."""

    def __init__(self, action: str) -> None:
        super().__init__()
        self.action = action
        self.is_inside = False
        self.fields: dict[str, list[str]] = {}
        self.area: str | None = None
        self.choosing: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take a field, or begin a form."""
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.is_inside = given.get("action") == self.action and given["method"] == "post"
        name = given.get("name")
        if not self.is_inside:
            return
        if tag == "textarea" and name:
            self.area = name
            self.fields.setdefault(name, []).append("")
        elif tag == "select" and name:
            self.choosing = name
        elif tag == "option" and self.choosing and "selected" in given:
            self.fields.setdefault(self.choosing, []).append(given["value"])
        elif tag == "input" and name:
            is_box = given.get("type") == "checkbox"
            if not is_box or "checked" in given:
                self.fields.setdefault(name, []).append(given.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        """End a form or a field."""
        if tag == "form":
            self.is_inside = False
        elif tag == "textarea":
            self.area = None
        elif tag == "select":
            self.choosing = None

    def handle_data(self, data: str) -> None:
        """Take the text of an area."""
        if self.area is not None:
            # A browser drops the line end right after the tag.
            self.fields[self.area][-1] = data.removeprefix("\n")


def read_fields(page: str, action: str) -> dict[str, list[str]]:
    """Return field → values of the form of a page that is posted to `action`."""
    reader = FormReader(action)
    reader.feed(page)
    return reader.fields
