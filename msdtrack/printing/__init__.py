"""Labels, signs and the action card: facts in, PNG and PDF bytes out.

Pure: no clock, no settings, no database, no network. `codes` names what a scanner may read;
`layouts` loads the designs from `labels/`; `label` and `sheet` are what the services call.
"""
