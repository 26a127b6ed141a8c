"""Where bytes of strangers are decoded: a child process in a cage, asked by name, answering in plain data."""
