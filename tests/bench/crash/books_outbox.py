"""The books of the outbox, held against what the mail server has really received."""

from __future__ import annotations

from collections import Counter

from server.persistence.tables import MessageRow
from tests.bench.crash.books import Books
from tests.builders_mail import Post

Letters = Counter[str]


def check_outbox(books: Books, post: Post, most_twice: int) -> None:
    """What is marked as sent has arrived; every letter is of one row and keeps its Message-ID; few arrive twice, none is given up.

    A letter may arrive twice only where a server was killed between handing it over and writing that down: one a kill and server.
    """
    memory = books.memory
    for letter in post.arrived[memory.letters_read :]:
        memory.letters[str(letter["Message-ID"])] += 1
    memory.letters_read = len(post.arrived)
    for row in books.new_rows(MessageRow):
        memory.message_ids[row.id or 0] = (row.message_id, row.to_email)
        memory.unsent.add(row.id or 0)
    sent = books.sample(sorted(set(memory.message_ids) - memory.unsent))
    for row in books.rows_with(MessageRow, MessageRow.id, {*memory.unsent, *sent}):
        number = row.id or 0
        same = memory.message_ids[number] == (row.message_id, row.to_email)
        books.must(same, "a message has another Message-ID or address", number, row.message_id)
        books.must(row.gave_up_at is None, "a message was given up", number, row.last_error)
        if row.sent_at is not None:
            books.must(memory.letters[row.message_id] > 0, "marked as sent and never received", number)
            memory.unsent.discard(number)
        else:
            books.must(number in memory.unsent, "a message that was sent is not sent any more", number)
    known = {message_id for message_id, _ in memory.message_ids.values()}
    books.must(len(known) == len(memory.message_ids), "two messages have one Message-ID")
    unknown = [one for one in memory.letters if one not in known]
    books.must(not unknown, "a letter of no message has arrived", *unknown[:3])
    twice = sum(number - 1 for number in memory.letters.values())
    books.must(twice <= most_twice, "more letters came twice than servers were killed", twice, most_twice)


def check_all_arrived(books: Books, post: Post) -> None:
    """Once leases have run out and nothing waits: every message has arrived, to the address that its row says."""
    to = {str(letter["Message-ID"]): str(letter["To"]) for letter in post.arrived}
    for number, (message_id, address) in books.memory.message_ids.items():
        books.must(address in to.get(message_id, ""), "a message never arrived", number, message_id)
    books.must(not books.memory.unsent, "messages still wait", len(books.memory.unsent))
