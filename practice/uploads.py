"""Files on their way in: kept encrypted for a day, so that a preview can be looked at first."""

import datetime as dt

from django.db import transaction

from practice import audit
from practice.encryption import decrypt_bytes, encrypt_bytes
from practice.models import Clinic, RememberedMeaning, Upload
from practice.refusals import Refusal

FORGET = audit.action("meaning.forget", "forgot what {subject} means")

LARGEST = 20 * 1024 * 1024  # bytes
KEPT_FOR = dt.timedelta(days=1)


class FileTooLarge(Refusal):
    """More than can be taken in at once."""


@transaction.atomic
def keep(
    *, clinic: Clinic, file_kind: str, filename: str, data: bytes, declared: dict, by, at: dt.datetime
) -> Upload:
    """Keep a file for its preview and put aside those that nobody came back to. Raises FileTooLarge."""
    if len(data) > LARGEST:
        raise FileTooLarge(
            f"“{filename}” is larger than {LARGEST // 1024**2} megabytes. Export a shorter time of it."
        )
    Upload.objects.filter(uploaded_at__lt=at - KEPT_FOR).delete()
    return Upload.objects.create(
        clinic=clinic,
        by=by,
        file_kind=file_kind,
        filename=filename[-160:],
        content=encrypt_bytes(data),
        declared=declared,
        uploaded_at=at,
    )


def content_of(upload: Upload) -> bytes:
    """The file as it was brought."""
    return decrypt_bytes(bytes(upload.content))


def put_aside(*, upload: Upload) -> None:
    """Forget a file that was applied or is not wanted; nothing of it was half-applied."""
    upload.delete()


@transaction.atomic
def forget(*, meaning: RememberedMeaning, by, at: dt.datetime) -> None:
    """Forget what a value in a clinic's files was said to mean."""
    audit.record(FORGET, by=by, at=at, subject=f"“{meaning.value}”"[:80], clinic=meaning.clinic)
    meaning.delete()
