"""The schema, and its page: all of it served by us, no script and no style in the page itself."""

from __future__ import annotations

from drf_spectacular.views import SpectacularJSONAPIView, SpectacularSwaggerSplitView
from rest_framework.permissions import AllowAny


class SchemaView(SpectacularJSONAPIView):
    """OpenAPI 3.1 of this version; it tells nothing that needs a sign-in."""

    permission_classes = [AllowAny]
    authentication_classes = []


class DocsView(SpectacularSwaggerSplitView):
    """Works under the strict policy of every other page."""

    permission_classes = [AllowAny]
    authentication_classes = []
    url_name = "api_schema"
    template_name = "gardens/api/docs.html"
    title = "Mixing day: API"
