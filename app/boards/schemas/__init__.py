"""The JSON of assemblies, layouts and boards, in and out."""
