"""Telling the hub: topics, payloads, discovery, and the publisher that drains the outbox to a broker."""
