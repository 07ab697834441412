"""What a device keeps to show later that it was signed in before, when its token has long ended.

It opens nothing: it only has the device's tries counted apart from those of strangers.
"""

import uuid
from datetime import timedelta

from django.core import signing

from coaching.models import DeviceToken

SALT = "device-proof"
VALID_FOR = timedelta(days=365)


def proof_of(device: DeviceToken) -> str:
    return signing.dumps([device.user_id.hex, device.uid.hex], salt=SALT)


def proven_device(proof: str, account_id: uuid.UUID | None) -> str | None:
    """The device that the proof names, if it is one of this account's; None for anything else."""
    try:
        account_hex, device_hex = signing.loads(proof, salt=SALT, max_age=VALID_FOR)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    return str(device_hex) if account_id is not None and account_hex == account_id.hex else None
