"""Workbooks and web functions as the free office suite takes them."""
