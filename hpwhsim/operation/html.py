"""A document as one page of HTML that needs nothing else, for the screen and for A4 and Letter paper."""

from hpwhsim.operation.parts import Document

NO_ADDRESS = "default-src 'none'; style-src 'unsafe-inline'"
STYLE = """
:root { color-scheme: light; --rule: #b9c0c7; --shade: #eef2f5; --dim: #4d545b; }
body { color: #1a1a1a; background: #fff; font: 15px/1.45 system-ui, "DejaVu Sans", sans-serif;
  max-width: 75rem; margin: 0 auto; padding: 1rem 1.5rem 4rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin-bottom: .2rem; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 .6rem; border-bottom: 1px solid var(--rule); }
h3 { font-size: 1.05rem; margin: 1.4rem 0 .4rem; }
p, li { max-width: 52rem; }
li { margin: .25rem 0; }
.subtitle, caption { color: var(--dim); }
.caution { border-left: 4px solid #b3541e; padding-left: .7rem; }
nav ul { display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; list-style: none; padding: 0; max-width: none; }
a { color: inherit; }
table { border-collapse: collapse; font-size: .82rem; width: 100%; table-layout: fixed; margin: .8rem 0; }
caption { text-align: left; padding-bottom: .3rem; }
th, td { border: 1px solid var(--rule); padding: .2rem .4rem; vertical-align: top; text-align: left;
  overflow-wrap: anywhere; hyphens: none; }
thead th { background: var(--shade); }
td.fill { height: 1.6rem; }
@page { margin: 14mm; }
@media print {
  body { font-size: 9.5pt; max-width: none; padding: 0; }
  nav { display: none; }
  table { font-size: 7.2pt; }
  h2, h3, caption { break-after: avoid; }
  tr { break-inside: avoid; }
  thead { display: table-header-group; }
  .caution, thead th { print-color-adjust: exact; }
}
"""
TEMPLATE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{{ policy }}">
<title>{{ document.subtitle }}: {{ document.title }}</title>
<style>{{ style }}</style></head>
<body><main>
<h1>{{ document.title }}</h1>
<p class="subtitle">{{ document.subtitle }}</p>
<nav aria-label="Sections"><ul>
{%- for section in document.sections if section.level == 1 %}
<li><a href="#s{{ loop.index }}">{{ section.heading }}</a></li>
{%- endfor %}
</ul></nav>
{%- set count = namespace(chapter=0) %}
{%- for section in document.sections %}
{%- if section.level == 1 %}{% set count.chapter = count.chapter + 1 %}
<h2 id="s{{ count.chapter }}">{{ section.heading }}</h2>
{%- else %}
<h3>{{ section.heading }}</h3>
{%- endif %}
{%- for part in section.parts %}
{%- if kind(part) == "Paragraph" %}
<p{% if part.caution %} class="caution"{% endif %}>{{ part.text }}</p>
{%- elif kind(part) == "Listing" %}
{% set tag = "ol" if part.numbered else "ul" %}<{{ tag }}>
{%- for item in part.items %}
<li>{{ item }}</li>
{%- endfor %}
</{{ tag }}>
{%- else %}
<table><caption>{{ part.caption }}</caption>
<colgroup>
{%- for width in part.widths %}
<col style="width:{{ "%.2f"|format(100 * width / (part.widths|sum)) }}%">
{%- endfor %}
</colgroup>
<thead><tr>{% for head in part.heads %}<th scope="col">{{ head }}</th>{% endfor %}</tr></thead>
<tbody>
{%- for row in part.rows %}
<tr>
{%- for cell in row %}<td{% if part.form and not cell %} class="fill"{% endif %}>{{ cell }}</td>{% endfor -%}
</tr>
{%- endfor %}
</tbody></table>
{%- endif %}
{%- endfor %}
{%- endfor %}
</main></body></html>
"""


def html(document: Document) -> bytes:
    """The bytes of the page."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    environment = Environment(autoescape=True, undefined=StrictUndefined)
    page = environment.from_string(TEMPLATE).render(
        document=document, kind=lambda part: type(part).__name__, style=Markup(STYLE), policy=NO_ADDRESS
    )
    return f"{page}\n".encode()
