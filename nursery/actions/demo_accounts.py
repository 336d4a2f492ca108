"""The logins of the demonstration farm. They exist nowhere else, and the demo says loudly that it is one."""

from nursery.models import Account, Farm

DEMO_PASSWORD = "demo-farm"
GROWER, CREW, TABLET = "grower", "crew", "tablet"
DEMO_LOGINS = (GROWER, CREW, TABLET)


def create_demo_accounts() -> dict[str, Account]:
    """Make the three logins of an empty demonstration farm and return them by name."""
    roles = {GROWER: Account.Role.GROWER, CREW: Account.Role.CREW, TABLET: Account.Role.CREW}
    return {
        name: Account.objects.create_user(name, password=DEMO_PASSWORD, role=role, is_shared=name == TABLET)
        for name, role in roles.items()
    }


def address_demo_labels(address: str) -> None:
    """Let the demonstration's labels open where it runs now, until one was printed."""
    Farm.objects.filter(is_demo=True, label_address_fixed_at__isnull=True).update(label_address=address)
