"""The proving ground: truth drawn, read and judged by a route of its own.

Nothing here but `adapter` touches the tool's engine or its inference.
"""
