"""The prompt display: what it shows, who may read it, what can be entered by hand."""
