"""The report as one offline HTML page: template, style and script beside the modules that fill them."""
