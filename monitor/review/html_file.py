"""The templates of the files that need nothing else: report, the page for a vet, the chart."""

from jinja2 import Environment, PackageLoader, Template, select_autoescape


def template(name: str) -> Template:
    """One of `templates/`, by its file name."""
    return Environment(
        loader=PackageLoader("monitor.review"),
        autoescape=select_autoescape(),
        trim_blocks=True,
        lstrip_blocks=True,
    ).get_template(name)
