"""Every way to every keeper, made from the configuration and its secrets."""

from collections.abc import Callable, Sequence

from monitor.clock import Clock
from monitor.notices.apprise_channel import AppriseChannel
from monitor.notices.channel import Channel
from monitor.notices.mail import MailChannel
from monitor.site.load import Configuration
from monitor.site.secrets import MAIL_PASSWORD, Secrets, channel_secret
from monitor.site.site_file import Keeper

Named = tuple[str, Channel]


def channels_of(
    configuration: Configuration, secrets: Secrets, clock: Clock, *, store: str
) -> Callable[[str], Sequence[Named]]:
    """
    Make the channels of each keeper, in the order in which they are tried.

    Args:
        configuration: Keepers, mail server and channels.
        secrets: Passwords and addresses.
        clock: For deadlines.
        store: Identity of the store, part of each Message-ID.

    Raises:
        ConfigError: If a secret is missing or an address is none.
    """
    made = {
        keeper.id: tuple(
            (name, _channel(name, keeper, configuration, secrets, clock, store))
            for name in keeper.channels
        )
        for keeper in configuration.site.keepers
    }
    return lambda keeper: made.get(keeper, ())


def _channel(  # noqa: PLR0917 - one step of the function above
    name: str,
    keeper: Keeper,
    configuration: Configuration,
    secrets: Secrets,
    clock: Clock,
    store: str,
) -> Channel:
    if name != "mail":
        address = secrets.get(channel_secret(name))
        return AppriseChannel(name=name, address=address, clock=clock)
    mail = configuration.site.mail
    if mail is None or keeper.mail is None:
        raise ValueError(
            "a keeper with the channel mail has an address: load saw to it"
        )
    password = secrets.get(MAIL_PASSWORD) if mail.username is not None else None
    return MailChannel(
        mail, to=keeper.mail, password=password, clock=clock, store=store
    )
