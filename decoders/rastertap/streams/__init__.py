"""Decoders: from a Capture to pixel clock, sync and colour-bus streams."""
