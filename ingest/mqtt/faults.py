"""What went wrong with a broker, in words, with what to do about it."""

import socket
import ssl

from ingest.mqtt.settings import BrokerError, MqttSettings

# MQTT 5.0 (OASIS standard), reason codes of section 2.4 that a broker can answer us with.
_PROTOCOL_VERSION = 0x84
_CLIENT_IDENTIFIER = 0x85
_BAD_USER = 0x86
_NOT_AUTHORISED = 0x87
_TAKEN_OVER = 0x8E
_RETAIN_NOT_SUPPORTED = 0x9A
_BUSY = frozenset({0x88, 0x89, 0x8B, 0x97, 0x9F})  # unavailable, busy, shutting down, quota, rate


def from_exception(settings: MqttSettings, cause: BaseException | None) -> BrokerError:
    """Explain why no connection could be made, or no encryption."""
    where = f"broker {settings.address}"
    if isinstance(cause, ssl.SSLCertVerificationError):
        return BrokerError(
            f"its certificate is not trusted ({cause.verify_message.rstrip('.')})",
            where=where,
            remedy=_certificate_remedy(settings, cause),
        )
    if isinstance(cause, socket.gaierror):
        return BrokerError(
            "no such host is known",
            where=where,
            remedy="Check mqtt.host, or write the broker's address in numbers",
        )
    if isinstance(cause, ConnectionRefusedError):
        return BrokerError(
            "nothing answers on this port", where=where, remedy="Start the broker, or check mqtt.port"
        )
    if isinstance(cause, TimeoutError):
        return BrokerError(
            "no answer in time", where=where, remedy="Check mqtt.host, the network and its firewall"
        )
    if settings.tls and isinstance(cause, ssl.SSLError | ConnectionError):
        return BrokerError(
            f"no encrypted connection ({cause.strerror or cause})",
            where=where,
            remedy="Set mqtt.port to the broker's TLS port (often 8883), or mqtt.tls = false; "
            "a broker that wants a client certificate needs mqtt.certificate_file and mqtt.key_file",
        )
    return BrokerError(
        f"no connection ({cause or 'reason unknown'})",
        where=where,
        remedy="Check mqtt.host, mqtt.port and the network",
    )


def from_refusal(settings: MqttSettings, code: int, words: str) -> BrokerError:
    """Explain why a broker refused or ended a connection: the reason's `code`, and the standard's `words`."""
    where = f"broker {settings.address}"
    if code in (_BAD_USER, _NOT_AUTHORISED):
        if settings.username is None:
            what, remedy = "it lets nobody in without a user", "Set mqtt.username and its password"
        else:
            what = f"it refuses user {settings.username!r} with this password"
            remedy = "Check mqtt.username and its password, and whether the broker has reloaded its users"
    elif code == _TAKEN_OVER:
        what = f"another client took over the name of bridge {settings.bridge!r} at site {settings.site!r}"
        remedy = "Give each bridge its own name, and run it once only"
    elif code == _CLIENT_IDENTIFIER:
        what, remedy = "it does not accept this bridge's client name", "Allow it in the broker's settings"
    elif code == _PROTOCOL_VERSION:
        what, remedy = "it does not speak MQTT 5", "Update the broker (Mosquitto has spoken it since 1.6)"
    elif code == _RETAIN_NOT_SUPPORTED:
        what, remedy = "it keeps no retained messages", "Turn on retained messages in the broker's settings"
    elif code in _BUSY:
        what, remedy = f"it cannot serve this bridge now ({words})", "Look into the broker's own log"
    else:
        what, remedy = f"it refuses this bridge ({words})", "Look into the broker's own log"
    return BrokerError(what, where=where, remedy=remedy)


def from_loss(settings: MqttSettings, *, answered: bool) -> BrokerError:
    """Explain a connection that ended without a word, before or after the broker had `answered`."""
    where = f"broker {settings.address}"
    if answered:
        # Mosquitto 2.0 also ends a connection so, without a reason, when another client has the same name.
        return BrokerError(
            "the connection was lost",
            where=where,
            remedy="It is tried again by itself; if that repeats, see that no other bridge runs as "
            f"{settings.bridge!r} at site {settings.site!r}",
        )
    other = "mqtt.tls = false" if settings.tls else "mqtt.tls = true"
    return BrokerError(
        "it closed the connection without an answer",
        where=where,
        remedy=f"Check mqtt.port; if this port wants {'no ' if settings.tls else ''}TLS, set {other}",
    )


def from_refused_message(settings: MqttSettings, topic: str, words: str) -> BrokerError:
    """Explain a message that the broker did not take."""
    return BrokerError(
        f"it does not take messages on {topic} ({words})",
        where=f"broker {settings.address}",
        remedy="Let this bridge's user write there; events wait and are sent again",
    )


def from_refused_subscription(settings: MqttSettings, topic: str, words: str) -> BrokerError:
    """Explain a topic that the broker does not let us read."""
    return BrokerError(
        f"it does not let this bridge read {topic} ({words})",
        where=f"broker {settings.address}",
        remedy="Let this bridge's user read there",
    )


def tls_context(settings: MqttSettings) -> ssl.SSLContext:
    """Return the TLS context that the settings describe; raise BrokerError naming the file that is wrong."""
    try:
        context = ssl.create_default_context(cafile=settings.ca_file)
    except (OSError, ssl.SSLError) as error:
        raise BrokerError(
            f"cannot be used as a list of authorities ({error})",
            where=str(settings.ca_file),
            remedy="Set mqtt.ca_file to a readable PEM file with the certificate of the broker's authority",
        ) from error
    context.sslsocket_class = _TidySocket
    if settings.certificate_file is not None:
        try:
            context.load_cert_chain(settings.certificate_file, settings.key_file, password=_no_passphrase)
        except (OSError, ssl.SSLError, ValueError) as error:
            raise BrokerError(
                f"cannot be used as a client certificate with {settings.key_file} ({error})",
                where=str(settings.certificate_file),
                remedy="Set mqtt.certificate_file and mqtt.key_file to a pair of readable PEM files",
            ) from error
    return context


class _TidySocket(ssl.SSLSocket):
    """Closes itself when the handshake fails, which paho leaves to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:
        """Agree on encryption with the broker."""
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def _no_passphrase() -> str:
    # Otherwise the library would ask on the terminal, and a daemon would hang there.
    raise ValueError("the key is locked by a passphrase")


def _certificate_remedy(settings: MqttSettings, cause: ssl.SSLCertVerificationError) -> str:
    reason = cause.verify_message.lower()
    if "mismatch" in reason or "not valid for" in reason:
        return "Set mqtt.host to the name in the broker's certificate"
    if "expired" in reason or "not yet valid" in reason:
        return "Renew the broker's certificate, and check that this computer's clock is right"
    if settings.ca_file is None:
        return "Set mqtt.ca_file to the certificate of the authority that signed it"
    return f"Set mqtt.ca_file to the authority that signed it, which {settings.ca_file} is not"
