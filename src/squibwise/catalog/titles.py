"""What people call a component."""

from squibwise.catalog.load import Catalog
from squibwise.model.names import split_component


def component_title(component: str, catalog: Catalog) -> str:
    """Return a component in words, such as ``driver front airbag`` or ``row 2 left belt buckle``.

    A component at the centre of the car, or whose kind names its place, gets no place in front.
    """
    name = split_component(component)
    place = "" if name.place == "centre" else name.place.replace("row", "row ").replace("-", " ")
    kind = catalog.kinds.get(name.kind)
    title = kind.title if kind else name.kind
    place = "" if title.startswith(f"{place} ") else place
    number = "" if name.number == 1 else str(name.number)
    return " ".join(w for w in (place, title, number) if w)
