"""The verbs of the trade, by station of the job. Each verb is one transaction and one line of the journal."""
