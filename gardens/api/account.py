"""Signing in as a program, and the programmes that a user belongs to."""

from __future__ import annotations

from typing import Any, cast

from django.contrib.auth import authenticate
from rest_framework import serializers
from rest_framework.permissions import AllowAny, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView

from gardens.access import Seat, To
from gardens.actions.tokens import make_token, revoke_token
from gardens.api.quantities import Mass
from gardens.api.schema import operation
from gardens.api.views import ProgrammeView
from gardens.models import FeederClass, Job, Units, User
from gardens.refusals import Refused

ACCOUNT = "Account"


class PlaceThrottle(SimpleRateThrottle):
    """Sixty tries a minute from one place, whatever the addresses."""

    scope = "sign_in_place"
    rate = "60/min"

    def get_cache_key(self, request: Request, view: APIView) -> str | None:
        return f"{self.scope}:{self.get_ident(request)}" if request.method == "POST" else None


class AddressThrottle(SimpleRateThrottle):
    """Ten tries a minute for one address from one place; a token is asked for once, not for each call."""

    scope = "sign_in"
    rate = "10/min"

    def get_cache_key(self, request: Request, view: APIView) -> str | None:
        if request.method != "POST":
            return None
        email = str(request.data.get("email", "") if isinstance(request.data, dict) else "").casefold()[:254]
        return f"sign_in:{self.get_ident(request)}:{email.encode('utf-8', 'replace').hex()}"


class Credentials(serializers.Serializer[Any]):
    email = serializers.EmailField(max_length=254)
    password = serializers.CharField(max_length=4096, trim_whitespace=False, style={"input_type": "password"})


class Secret(serializers.Serializer[Any]):
    token = serializers.CharField(help_text="Send it as “Authorization: Token …”.")


class TokenView(APIView):
    """One token per user; asking again gives the same one, until it is revoked."""

    throttle_classes = [AddressThrottle, PlaceThrottle]

    def get_permissions(self) -> list[Any]:
        return [AllowAny() if self.request.method == "POST" else IsAuthenticated()]

    @operation(
        "token_make",
        "Sign in and get a token",
        tag=ACCOUNT,
        request=Credentials,
        answer=Secret,
        public=True,
        errors=(422, 429),
    )
    def post(self, request: Request) -> Response:
        sent = Credentials(data=request.data)
        sent.is_valid(raise_exception=True)
        user = authenticate(
            request, username=sent.validated_data["email"], password=sent.validated_data["password"]
        )
        if user is None:
            raise Refused("sign_in", "This address and this password do not belong together.", "password")
        return Response({"token": make_token(user=user).key})

    @operation("token_revoke", "Revoke your token", tag=ACCOUNT, status=204)
    def delete(self, request: Request) -> Response:
        revoke_token(user=cast(User, request.user))
        return Response(status=204)


class SeatJSON(serializers.Serializer[Seat]):
    """A programme, and who you are in it."""

    id = serializers.IntegerField(source="programme.pk")
    name = serializers.CharField(source="programme.name")
    zone = serializers.CharField(source="programme.zone")
    currency = serializers.CharField(source="programme.currency")
    units = serializers.ChoiceField(Units.choices, source="programme.units")
    week_start = serializers.IntegerField(
        source="programme.week_start", help_text="1 for Monday to 7 for Sunday."
    )
    planted_share = serializers.IntegerField(source="programme.planted_share")
    default_class = serializers.ChoiceField(FeederClass.choices, source="programme.default_class")
    tub_mass = Mass(source="programme.tub_mass_mg")
    desk_division = Mass(source="programme.desk_division_mg")
    person = serializers.IntegerField(source="person.pk", help_text="Your person in it.")
    roles = serializers.SerializerMethodField()

    def get_roles(self, seat: Seat) -> list[str]:
        return sorted(seat.roles)


class ProgrammeDetail(ProgrammeView):
    @operation("programme_show", "One programme, and who you are in it", tag=ACCOUNT, answer=SeatJSON)
    def get(self, request: Request, programme: int) -> Response:
        return self.show(SeatJSON, self.sit(To.ENTER))


class JobJSON(serializers.Serializer[Job]):
    """Work in the background: what, about what, how it stands, and what came of it."""

    id = serializers.IntegerField(source="pk")
    kind = serializers.CharField()
    about = serializers.CharField(source="key")
    state = serializers.CharField(help_text="due, running, done or failed.")
    due_at = serializers.DateTimeField()
    attempts = serializers.IntegerField()
    message = serializers.CharField()
    finished_at = serializers.DateTimeField(allow_null=True)


class JobsView(ProgrammeView):
    @operation(
        "job_list", "Work in the background and how it stands", tag=ACCOUNT, answer=JobJSON, paged=True
    )
    def get(self, request: Request, programme: int) -> Response:
        seat = self.sit(To.ORGANISE)
        return self.page(JobJSON, Job.objects.filter(programme=seat.programme))
