"""What can go wrong with an instrument.

InstrumentError
├── LinkError                the wire failed
│   ├── LinkLost             closed, refused or unplugged
│   ├── NoAnswer             the deadline passed before the reply was complete
│   └── StrayBytes           bytes came that nobody had asked for
├── ReplyError               the reply came but cannot be used
│   ├── GarbledReply         shape, checksum or terminator do not fit
│   ├── WrongChannel         the reply belongs to another channel
│   └── Refused              the instrument answered with an error of its own
├── WrongIdentity            another instrument than the bench file says
├── Restarted                it was off, or started anew, since it was last asked
├── NotConfirmed             the read-back differs from what was written
├── PlugInFault              a plug-in failed in its own code
├── OutsideLimits            the value is outside the profile's or the bench's limits; nothing was sent
└── BadProfile               a profile, address or plug-in cannot be used; nothing was opened
"""

from __future__ import annotations


class InstrumentError(Exception):
    """Root of the tree; the message is a sentence for the person at the bench."""


class LinkError(InstrumentError):
    """The wire failed."""


class LinkLost(LinkError):
    """Closed, refused or unplugged."""


class NoAnswer(LinkError):
    """The deadline passed before the reply was complete."""


class StrayBytes(LinkError):
    """Bytes came that nobody had asked for."""


class ReplyError(InstrumentError):
    """The reply came but cannot be used."""


class GarbledReply(ReplyError):
    """Shape, checksum or terminator do not fit."""


class WrongChannel(ReplyError):
    """The reply belongs to another channel."""


class Refused(ReplyError):
    """The instrument answered with an error of its own."""


class WrongIdentity(InstrumentError):
    """Another instrument than the bench file says."""


class Restarted(InstrumentError):
    """It was off, or started anew, since it was last asked: its settings may not be the commanded ones."""


class NotConfirmed(InstrumentError):
    """The read-back differs from what was written."""


class OutsideLimits(InstrumentError):
    """The value is outside the profile's or the bench's limits; nothing was sent."""


class PlugInFault(InstrumentError):
    """A plug-in failed in its own code; the message says where."""


class BadProfile(InstrumentError):
    """A profile, address or plug-in cannot be used; the message says file, table and key."""
