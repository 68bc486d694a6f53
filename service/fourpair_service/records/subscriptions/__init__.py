"""Who is told of changes, and what became of each message.

The feed is the outbox: an entry of it is written in the transaction of the change
itself, so that a message can neither be lost nor tell of what was rolled back. A
worker follows it for each subscription, and remembers what it has sent.
"""
