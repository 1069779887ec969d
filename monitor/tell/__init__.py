"""Alarms become messages, and messages reach people.

wording/        every text there is
plan            who is told what and when (pure), with policy, incident, speaker, saying,
                morning_call
outbox          what goes out next (pure), written through to the journal
delivery        carries messages to people; Apprise runs in the sender's children
links           "I am seeing to it" in a message
status_topics   alarm state and siren for MQTT (pure)
heartbeat       a sign of life to the outside"""
