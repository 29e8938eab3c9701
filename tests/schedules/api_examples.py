"""Answer the calculators' examples anew: `python -m tests.schedules.api_examples`, then read the difference.

Each file of fixtures/calculations lists what is asked and what is answered; the schema shows both, and a test
posts the one and compares the other. Run this after a change that was meant to change an answer.
"""

from __future__ import annotations

import json
import os


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gardens.settings")
    import django

    django.setup()

    from django.urls import resolve
    from rest_framework.test import APIRequestFactory, force_authenticate

    from gardens.api.calculations import EXAMPLES
    from gardens.models import User

    for path in sorted(EXAMPLES.glob("*.json")):
        examples = json.loads(path.read_text(encoding="utf-8"))
        for example in examples:
            address = f"/api/v1/calculations/{path.stem}/"
            request = APIRequestFactory().post(address, example["request"], format="json")
            force_authenticate(request, User(pk=1, email="nobody@example.org"))
            example["response"] = json.loads(resolve(address).func(request).render().content)
        path.write_text(json.dumps(examples, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
