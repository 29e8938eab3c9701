"""The schema, and its page: served by us, no script in the page itself."""

from __future__ import annotations

from typing import Any, ClassVar

from csp.decorators import csp_update
from django.http import HttpResponseBase
from django.utils.decorators import method_decorator
from drf_spectacular.views import SpectacularJSONAPIView, SpectacularSwaggerSplitView
from rest_framework.permissions import AllowAny


class SchemaView(SpectacularJSONAPIView):
    """OpenAPI 3.1 of this version; it tells nothing that needs a sign-in."""

    permission_classes: ClassVar[Any] = [AllowAny]
    authentication_classes: ClassVar[Any] = []


@method_decorator(csp_update({"style-src": ["'unsafe-inline'"]}), name="dispatch")
class DocsView(SpectacularSwaggerSplitView):
    """The one page that lets styles stand in the page: its library writes them."""

    permission_classes: ClassVar[Any] = [AllowAny]
    authentication_classes: ClassVar[Any] = []
    url_name = "api_schema"
    title = "Mixing day: API"

    def dispatch(self, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return super().dispatch(*args, **kwargs)
