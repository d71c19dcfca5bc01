"""Every way to every keeper, made from the configuration and its secrets."""

from collections.abc import Callable, Sequence
from pathlib import Path

from monitor.clock import Clock
from monitor.notices.apprise_channel import AppriseChannel
from monitor.notices.channel import Channel
from monitor.notices.mail import MailChannel
from monitor.site.load import Configuration
from monitor.site.secrets import MAIL_PASSWORD, Secrets, channel_secret
from monitor.site.site_file import Keeper

Named = tuple[str, Channel]


def channels_of(
    configuration: Configuration,
    secrets: Secrets,
    clock: Clock,
    *,
    store: str,
    directory: Path,
) -> Callable[[str], Sequence[Named]]:
    """
    Make the channels of each keeper, in the order in which they are tried.

    Args:
        configuration: Keepers, mail server and channels.
        secrets: Passwords and addresses.
        clock: For deadlines.
        store: Identity of the store, part of each Message-ID.
        directory: Of the store, where pictures of mails lie.

    Raises:
        ConfigError: If a secret is missing or an address is none.
    """

    def mail(keeper: Keeper) -> Channel:
        server = configuration.site.mail
        if server is None or keeper.mail is None:
            raise ValueError("who has mail has an address: load saw to it")
        login = server.username is not None
        return MailChannel(
            server,
            to=keeper.mail,
            password=secrets.get(MAIL_PASSWORD) if login else None,
            clock=clock,
            store=store,
            directory=directory,
        )

    def other(name: str) -> Channel:
        address = secrets.get(channel_secret(name))
        return AppriseChannel(name=name, address=address, clock=clock)

    made = {
        keeper.id: tuple(
            (name, mail(keeper) if name == "mail" else other(name))
            for name in keeper.channels
        )
        for keeper in configuration.site.keepers
    }
    return lambda keeper: made.get(keeper, ())
