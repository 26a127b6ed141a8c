"""Files of strangers become pictures here: limits first, content decides the format, damage is named."""
