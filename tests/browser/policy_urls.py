"""One open page that tries what the content security policy forbids, beside what it allows."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import path

PAGE = """<!doctype html><html lang="en"><head><title>Policy</title><style>p { letter-spacing: 9px }</style></head>
<body><p style="word-spacing: 9px">floor</p>
<script>document.title = "inline ran"</script>
<script nonce="{{ request.csp_nonce }}">document.documentElement.dataset.nonce = "ran"</script>
<script src="/static/django_htmx/htmx-2.min.js"></script>
</body></html>"""


@login_not_required
def policy(request: HttpRequest) -> HttpResponse:
    """Show the page."""
    return HttpResponse(engines["django"].from_string(PAGE).render({}, request))


urlpatterns = [path("policy", policy)]
